"""The catalogue of steps that a project begins with, in the order that the trades work.

Order, trades and what comes before what: common practice, no source. The hours are a starting
point for a project's own figures: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StarterStep:
    """A step as it ships; ``before`` names the keys of the steps that have to be done first."""

    key: str
    name: str
    trade: str
    budget_h: float
    before: tuple[str, ...] = ()
    per: str = "unit"
    heats: tuple[str, ...] = ()
    fans: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


_WATER = ("hot-water",)
_ELECTRIC = ("electric",)

STARTER_STEPS: tuple[StarterStep, ...] = (
    StarterStep("box-hung", "Box hung and level", "mechanical", 1.5),
    StarterStep(
        "duct-connected",
        "Duct connected, straight inlet length measured",
        "mechanical",
        1.0,
        ("box-hung",),
    ),
    StarterStep("outlets-connected", "Outlets connected", "mechanical", 1.0, ("duct-connected",)),
    StarterStep(
        "coil-piped",
        "Coil piped; valve set with strainer, unions and isolation",
        "mechanical",
        2.0,
        ("box-hung",),
        heats=_WATER,
    ),
    StarterStep(
        "controller-mounted",
        "Controller and actuator mounted, damper index matched",
        "controls",
        0.75,
        ("box-hung",),
    ),
    StarterStep(
        "tubes-connected",
        "Sensing tubes connected, high and low matched",
        "controls",
        0.25,
        ("controller-mounted", "duct-connected"),
    ),
    StarterStep("room-sensor-wired", "Room sensor wired", "controls", 0.5, ("controller-mounted",)),
    StarterStep(
        "valve-wired",
        "Reheat valve actuator wired",
        "controls",
        0.5,
        ("controller-mounted", "coil-piped"),
        heats=_WATER,
    ),
    StarterStep(
        "heater-wired",
        "Heater power and interlocks wired",
        "electrical",
        2.0,
        ("box-hung",),
        heats=_ELECTRIC,
    ),
    StarterStep(
        "discharge-sensor-installed",
        "Discharge sensor installed",
        "controls",
        0.25,
        ("controller-mounted", "duct-connected"),
        needs=("discharge-sensor",),
    ),
    StarterStep(
        "transformer-set",
        "Transformer set, service switch labelled",
        "electrical",
        1.0,
        per="transformer",
    ),
    StarterStep(
        "power-landed",
        "24 V landed, polarity and voltage checked",
        "controls",
        0.5,
        ("transformer-set", "controller-mounted"),
    ),
    StarterStep(
        "bus-landed",
        "Bus landed, polarity and shield checked",
        "controls",
        0.25,
        ("controller-mounted",),
    ),
    StarterStep(
        "trunk-terminated",
        "Trunk terminated and biased",
        "controls",
        0.5,
        ("bus-landed",),
        per="trunk",
    ),
    StarterStep("address-set", "Address set", "controls", 0.25, ("power-landed",)),
    StarterStep("configured", "Configured from profile", "controls", 0.5, ("address-set",)),
    StarterStep(
        "points-checked-out",
        "Points checked out",
        "controls",
        0.75,
        (
            "configured",
            "tubes-connected",
            "room-sensor-wired",
            "valve-wired",
            "discharge-sensor-installed",
        ),
    ),
    StarterStep(
        "on-network",
        "Answers on the building network",
        "controls",
        0.25,
        ("trunk-terminated", "address-set"),
    ),
    StarterStep(
        "supply-air-available",
        "Supply air available",
        "mechanical",
        4.0,
        per="air-handler",
    ),
    StarterStep(
        "heat-source-available",
        "Heating water available",
        "mechanical",
        4.0,
        per="air-handler",
        heats=_WATER,
    ),
    StarterStep(
        "sensor-zeroed", "Airflow sensor zeroed", "balancer", 0.15, ("points-checked-out",)
    ),
    StarterStep(
        "airflow-verified",
        "Airflow verified",
        "balancer",
        0.75,
        ("sensor-zeroed", "outlets-connected", "supply-air-available"),
    ),
    StarterStep(
        "outlets-proportioned", "Outlets proportioned", "balancer", 0.75, ("airflow-verified",)
    ),
    StarterStep(
        "sequence-proven",
        "Sequence proven",
        "controls",
        0.75,
        ("airflow-verified", "on-network", "heater-wired", "heat-source-available"),
    ),
    StarterStep(
        "punch-verified",
        "Punch items verified",
        "office",
        0.25,
        ("outlets-proportioned", "sequence-proven"),
    ),
    StarterStep("documents-issued", "Documents issued", "office", 0.25, ("punch-verified",)),
)
