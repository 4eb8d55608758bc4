"""Words that the whole concern shares: trades, states, subjects. Values are stored and sent."""

from __future__ import annotations

TRADES: tuple[tuple[str, str], ...] = (
    ("mechanical", "Mechanical"),
    ("electrical", "Electrical"),
    ("controls", "Controls"),
    ("balancer", "Balancer"),
    ("office", "Office"),
    ("other", "Another trade"),
)
"""Who does a step or owes a punch item."""

PER: tuple[tuple[str, str], ...] = (
    ("unit", "terminal unit"),
    ("air-handler", "air handler"),
    ("trunk", "trunk"),
    ("transformer", "control transformer"),
)
"""What a step is done once for. A step of a trunk counts for all units on the trunk."""

MARKS: tuple[tuple[str, str], ...] = (
    ("open", "open"),
    ("in-hand", "in hand"),
    ("held", "held"),
    ("done", "done"),
    ("not-applicable", "not applicable"),
)
"""What a person says of a step; "open" takes back what was said before."""

STATES: tuple[tuple[str, str], ...] = (
    ("not-applicable", "not applicable"),
    ("waiting", "waits"),
    ("ready", "ready"),
    ("in-hand", "in hand"),
    ("held", "held"),
    ("done", "done"),
)
"""How a step stands. Waiting and ready are computed and never stored."""

NEEDS: tuple[tuple[str, str], ...] = (
    ("discharge-sensor", "discharge sensor"),
    ("occupancy-sensor", "occupancy sensor"),
)
"""Options of a unit that a step or a checkout point can depend on."""

SEVERITIES: tuple[tuple[str, str], ...] = (
    ("holds", "holds turnover"),
    ("mend", "to be mended"),
    ("note", "note"),
)
"""How much a punch item weighs, the gravest first."""

PUNCH_STATES: tuple[tuple[str, str], ...] = (
    ("open", "open"),
    ("answered", "answered"),
    ("verified", "verified"),
)

POINT_KINDS: tuple[tuple[str, str], ...] = (
    ("sensor", "reading against a reference"),
    ("range", "value within limits"),
    ("match", "value as expected"),
    ("confirm", "seen and right"),
)
"""How a checkout point is judged."""

POINT_SOURCES: tuple[tuple[str, str], ...] = (
    ("", "as written"),
    ("mac-address", "the unit’s MAC address"),
    ("device-instance", "the unit’s device instance"),
)
"""Where the expected value of a checkout point comes from."""
