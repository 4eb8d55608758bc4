"""The checkout list that a project begins with, and which list suits a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from zones.work.domain.board import UnitOptions


@dataclass(frozen=True, slots=True)
class StarterPoint:
    """A point of the usual list; fields as of the stored point, quantities in SI.

    ``origin`` says where the figure comes from.
    """

    key: str
    name: str
    kind: str
    owes: str
    quantity: str = ""
    tolerance_si: float | None = None
    low_si: float | None = None
    high_si: float | None = None
    source: str = ""
    heats: tuple[str, ...] = ()
    fans: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    is_required: bool = True
    origin: str = "common practice, no source"


HEATS = (("none", "no reheat"), ("hot-water", "hot water"), ("electric", "electric"))
FANS = (("none", "no fan"), ("parallel", "parallel"), ("series", "series"))
STARTER_NAME = "Usual checkout"
STARTER_POINTS: tuple[StarterPoint, ...] = (
    StarterPoint(
        "supply-voltage",
        "24 V at the controller’s terminals",
        "range",
        "controls",
        "control_voltage",
        low_si=20.4,
        high_si=28.8,
        origin="24 V -15 % and +20 % (common practice; the controller's data sheet governs)",
    ),
    StarterPoint("mac-address", "MAC address", "match", "controls", source="mac-address"),
    StarterPoint(
        "device-instance", "Device instance", "match", "controls", source="device-instance"
    ),
    StarterPoint(
        "damper-travel", "Damper runs fully open and fully closed on command", "confirm", "controls"
    ),
    StarterPoint(
        "damper-stroke",
        "Time of a full damper stroke",
        "range",
        "controls",
        "duration",
        low_si=30.0,
        high_si=180.0,
        origin="common practice, no source; the actuator's data sheet governs",
    ),
    StarterPoint(
        "airflow-zero",
        "Airflow sensor reads zero with no air (sensed pressure)",
        "range",
        "controls",
        "pressure",
        low_si=-1.25,
        high_si=1.25,
    ),
    StarterPoint(
        "room-sensor",
        "Room sensor against a reference",
        "sensor",
        "controls",
        "temperature",
        tolerance_si=0.5,
    ),
    StarterPoint(
        "room-sensor-button",
        "Button of the room sensor reaches the controller",
        "confirm",
        "controls",
        is_required=False,
    ),
    StarterPoint(
        "discharge-sensor",
        "Discharge sensor against a reference",
        "sensor",
        "controls",
        "temperature",
        tolerance_si=1.0,
        needs=("discharge-sensor",),
    ),
    StarterPoint(
        "valve-direction",
        "Reheat valve opens when heat is called, and closes",
        "confirm",
        "controls",
        heats=("hot-water",),
    ),
    StarterPoint(
        "valve-stroke",
        "Time of a full valve stroke",
        "range",
        "controls",
        "duration",
        low_si=10.0,
        high_si=180.0,
        heats=("hot-water",),
        origin="common practice, no source; the actuator's data sheet governs",
    ),
    StarterPoint(
        "heater-off",
        "Heater stages stay off without airflow",
        "confirm",
        "electrical",
        heats=("electric",),
    ),
    StarterPoint(
        "heater-on",
        "Each heater stage comes on with airflow proven",
        "confirm",
        "electrical",
        heats=("electric",),
    ),
    StarterPoint(
        "fan-command",
        "Fan starts and stops on command",
        "confirm",
        "electrical",
        fans=("parallel", "series"),
    ),
    StarterPoint(
        "occupancy-input",
        "Occupancy sensor reaches the controller",
        "confirm",
        "controls",
        needs=("occupancy-sensor",),
    ),
    StarterPoint("alarms-clean", "Alarm list is clean", "confirm", "controls"),
)
"""Points of the usual list, in the order in which they are walked through."""

CAUTIONS: Mapping[str, str] = {
    "supply-voltage": (
        "Measure at the low-voltage terminals only, and keep clear of the line side of the "
        "transformer."
    ),
    "heater": (
        "Heaters run on line voltage. Work on energised parts is for licensed people; the local "
        "code and the manufacturer’s instructions govern."
    ),
}
"""What to mind before a point is touched, by the beginning of its key."""


def caution(key: str) -> str:
    """What to mind before touching a point; "" when there is nothing special.

    >>> caution("damper-travel")
    ''
    """
    return next((text for start, text in CAUTIONS.items() if key.startswith(start)), "")


@dataclass(frozen=True, slots=True)
class ListFacts:
    """A checkout list, and which units it is meant for; what is empty suits any."""

    id: int
    name: str
    controller_model_id: int | None = None
    heats: tuple[str, ...] = ()
    fans: tuple[str, ...] = ()


def suited(
    lists: Sequence[ListFacts], unit: UnitOptions, controller_model_id: int | None
) -> ListFacts | None:
    """Choose the list that fits a unit most exactly, or None when none fits.

    The controller model weighs most, then the reheat, then the fan; a list for fewer kinds is
    more exact than one for many, and of equals the first by name is taken.
    """
    fitting = [
        found
        for found in lists
        if found.controller_model_id in (None, controller_model_id)
        and (not found.heats or unit.heat in found.heats)
        and (not found.fans or unit.fan in found.fans)
    ]
    return min(fitting, key=_inexactness, default=None)


def _inexactness(found: ListFacts) -> tuple[bool, int, int, str, int]:
    return (
        found.controller_model_id is None,
        len(found.heats) or 9,
        len(found.fans) or 9,
        found.name.casefold(),
        found.id,
    )
