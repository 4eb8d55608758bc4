"""Snapshots of the inventory in SI: what rules, other apps and documents see."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class InletFacts:
    """One inlet size of a box model.

    Attributes
    ----------
    free_area_m2
        Area that the air passes at the sensor [m²].
    nominal_k_m3_s_sqrt_pa
        K factor of the library [m³/s at 1 Pa of sensed pressure].
    scheduled_low_m3_s, scheduled_high_m3_s
        Range of airflow that the inlet is scheduled for [m³/s], None when unknown.
    """

    id: int
    label: str
    diameter_m: float
    free_area_m2: float
    nominal_k_m3_s_sqrt_pa: float
    scheduled_low_m3_s: float | None = None
    scheduled_high_m3_s: float | None = None


@dataclass(frozen=True, slots=True)
class ControllerFacts:
    """Limits of a controller model's pressure sensor [Pa; accuracy as a share of the reading]."""

    id: int
    name: str
    readable_pressure_pa: float | None = None
    span_pa: float | None = None
    accuracy_fraction: float | None = None
    accuracy_floor_pa: float | None = None


@dataclass(frozen=True, slots=True)
class OutletFacts:
    """One air outlet: design airflow [m³/s] and the factor of a hood reading at it."""

    id: int
    tag: str
    kind: str
    location: str = ""
    design_m3_s: float | None = None
    hood_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """A terminal unit as scheduled, with all that airflow and documents need.

    Attributes
    ----------
    inlet
        The inlet of this unit, or None while it is not known.
    inlets
        Every inlet of the same box model, the unit's own included.
    *_m3_s
        Airflow setpoints and reheat water flow [m³/s], None when not scheduled.
    revision
        Number of the schedule revision that last changed the unit; 0 when none did.
    """

    id: int
    tag: str
    sort_key: str = ""
    air_handler_id: int | None = None
    air_handler: str = ""
    zone_id: int | None = None
    zone: str = ""
    floor: str = ""
    location: str = ""
    fan: str = "none"
    heat: str = "none"
    box_model_id: int | None = None
    box_model: str = ""
    inlet: InletFacts | None = None
    inlets: tuple[InletFacts, ...] = ()
    controller: ControllerFacts | None = None
    cooling_max_m3_s: float | None = None
    cooling_min_m3_s: float | None = None
    heating_max_m3_s: float | None = None
    heating_min_m3_s: float | None = None
    standby_min_m3_s: float | None = None
    water_flow_m3_s: float | None = None
    entering_water_degc: float | None = None
    leaving_water_degc: float | None = None
    coil_rows: int | None = None
    valve_cv: float | None = None
    heater_power_w: float | None = None
    heater_voltage_v: float | None = None
    heater_phases: int | None = None
    heater_stages: int | None = None
    discharge_limit_degc: float | None = None
    discharge_sensor: str = ""
    occupancy_sensor: str = ""
    network_number: int | None = None
    mac_address: int | None = None
    device_instance: int | None = None
    outlets: tuple[OutletFacts, ...] = ()
    revision: int = 0
    is_archived: bool = False
    version: int = 1


@dataclass(frozen=True, slots=True)
class UnitOutline:
    """What lists of work need of a unit: where it is and which options it has.

    Attributes
    ----------
    position_x_m, position_y_m
        From the floor's south-west corner to the east and north [m]; None while not placed.
    discharge_sensor, occupancy_sensor
        "yes", "no", or "" while nobody has said.
    """

    id: int
    tag: str
    sort_key: str
    floor: str
    location: str
    air_handler_id: int | None
    air_handler: str
    heat: str
    fan: str
    controller_model_id: int | None
    discharge_sensor: str
    occupancy_sensor: str
    position_x_m: float | None
    position_y_m: float | None
    mac_address: int | None
    device_instance: int | None
    revision: int
    version: int


@dataclass(frozen=True, slots=True)
class AirHandlerFacts:
    """An air handler with what its terminal units add up to [m³/s, Pa, °C].

    ``sum_cooling_max_m3_s`` covers units in use whose cooling maximum is known; the other
    ``units`` - ``units_with_maximum`` are missing from it.
    """

    id: int
    tag: str
    name: str
    design_supply_degc: float | None
    design_static_pa: float | None
    design_m3_s: float | None
    units: int
    units_with_maximum: int
    sum_cooling_max_m3_s: float | None
    sum_cooling_min_m3_s: float | None
    is_archived: bool
    version: int
    sort_key: str = ""

    @property
    def diversity(self) -> float | None:
        """Design airflow as a share of the sum of cooling maxima, or None when unknown."""
        if not self.design_m3_s or not self.sum_cooling_max_m3_s:
            return None
        return self.design_m3_s / self.sum_cooling_max_m3_s


@dataclass(frozen=True, slots=True)
class ZoneFacts:
    """A zone with the units that serve it [m²; people]."""

    id: int
    tag: str
    name: str
    floor: str
    area_m2: float | None
    population: float | None
    units: int
    sum_cooling_max_m3_s: float | None
    is_archived: bool
    version: int
    sort_key: str = ""


@dataclass(frozen=True, slots=True)
class BoxModelFacts:
    """A box model of the library with its inlets and how many units use it here."""

    id: int
    name: str
    note: str
    inlets: tuple[InletFacts, ...]
    units: int
    is_archived: bool
    version: int


@dataclass(frozen=True, slots=True)
class ControllerModelFacts:
    """A controller model of the library and how many units use it here."""

    id: int
    name: str
    note: str
    limits: ControllerFacts
    units: int
    is_archived: bool
    version: int


@dataclass(frozen=True, slots=True)
class Change:
    """One line of a change log.

    Attributes
    ----------
    what
        "added", "changed", "archived", "restored" or "removed".
    record
        Which record it was: "" for the one asked about, else a part of it ("outlet D-1").
    field, kind
        Name and kind of the field, as in the field list; "" for the whole record.
    old, new
        Value before and after: SI for a quantity, the tag or name for a link.
    """

    at: datetime
    who: str
    where: str
    what: str
    record: str = ""
    field: str = ""
    label: str = ""
    kind: str = ""
    old: str | float | None = None
    new: str | float | None = None
