"""Snapshots of flow tests in SI: what formulas, rules, pages and documents see."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from projectsite.core.scope import Tolerances

RoundName = Literal["as-found", "as-left"]
SetpointName = Literal["cooling-max", "middle", "cooling-min", "heating-max"]
InstrumentKind = Literal["hood", "manometer", "anemometer", "thermometer"]
TestState = Literal["open", "submitted", "returned", "accepted", "superseded"]
KMethod = Literal[
    "kept", "one-reading", "least-squares", "least-relative", "zero-offset", "by-hand"
]

SETPOINT_NAMES: Mapping[str, str] = {
    "cooling-max": "cooling maximum",
    "middle": "middle flow",
    "cooling-min": "cooling minimum",
    "heating-max": "heating maximum",
}
METHOD_NAMES: Mapping[str, str] = {
    "kept": "K kept as found",
    "one-reading": "one reading",
    "least-squares": "least squares through zero",
    "least-relative": "least relative squares",
    "zero-offset": "with zero offset",
    "by-hand": "entered by hand",
}


@dataclass(frozen=True, slots=True)
class Setpoints:
    """Scheduled airflows of a unit [m³/s], None when not scheduled."""

    cooling_max_m3_s: float | None = None
    cooling_min_m3_s: float | None = None
    heating_max_m3_s: float | None = None
    heating_min_m3_s: float | None = None
    standby_min_m3_s: float | None = None

    def at(self, setpoint: str) -> float | None:
        """Scheduled airflow of a point [m³/s]; None for the middle flow, which has none."""
        return {
            "cooling-max": self.cooling_max_m3_s,
            "cooling-min": self.cooling_min_m3_s,
            "heating-max": self.heating_max_m3_s,
        }.get(setpoint)


@dataclass(frozen=True, slots=True)
class InletSnapshot:
    """One inlet of a box model: diameter [m], free area [m²], K [m³/s at 1 Pa]."""

    label: str
    diameter_m: float
    free_area_m2: float
    nominal_k_m3_s_sqrt_pa: float


@dataclass(frozen=True, slots=True)
class ControllerSnapshot:
    """Limits of a controller's pressure sensor [Pa; accuracy also as a share of the reading]."""

    name: str = ""
    readable_pressure_pa: float | None = None
    span_pa: float | None = None
    accuracy_fraction: float | None = None
    accuracy_floor_pa: float | None = None


@dataclass(frozen=True, slots=True)
class UnitSnapshot:
    """A unit as far as airflow is concerned; ``other_inlets`` are of the same box model."""

    unit_id: int
    tag: str
    setpoints: Setpoints = Setpoints()
    box_model: str = ""
    inlet: InletSnapshot | None = None
    other_inlets: tuple[InletSnapshot, ...] = ()
    controller: ControllerSnapshot | None = None


@dataclass(frozen=True, slots=True)
class InstrumentSnapshot:
    """The instrument of a test.

    Attributes
    ----------
    accuracy_fraction, accuracy_floor_si
        Limits ± of a reading: share of the reading, and a fixed part in m³/s (in Pa for a
        manometer).
    minimum_m3_s
        Smallest flow that it reads [m³/s], None when unknown.
    """

    kind: InstrumentKind
    name: str = ""
    accuracy_fraction: float = 0.0
    accuracy_floor_si: float = 0.0
    minimum_m3_s: float | None = None
    calibrated_on: date | None = None
    due_on: date | None = None


@dataclass(frozen=True, slots=True)
class OutletReading:
    """Hood readings of one outlet at one point [m³/s], as the instrument showed them."""

    outlet_id: int
    tag: str
    repeats_m3_s: tuple[float, ...]
    design_m3_s: float | None = None
    hood_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class PointSnapshot:
    """One point of a test.

    Attributes
    ----------
    target_m3_s
        Airflow that the controller was told to hold [m³/s].
    reported_m3_s, sensed_pressure_pa, damper_fraction
        What the controller showed [m³/s, Pa, share of open].
    measured_single_m3_s
        Measured as one value [m³/s]; None when the flow is the sum of ``outlets``.
    """

    id: int
    round: RoundName
    setpoint: SetpointName
    target_m3_s: float | None = None
    reported_m3_s: float | None = None
    sensed_pressure_pa: float | None = None
    damper_fraction: float | None = None
    measured_single_m3_s: float | None = None
    is_traverse: bool = False
    outlets: tuple[OutletReading, ...] = ()


@dataclass(frozen=True, slots=True)
class Conditions:
    """Air at the test: temperature [°C], relative humidity [fraction], elevation [m].

    ``reads_actual`` tells that the instrument corrects for density by itself; otherwise its
    number holds for standard air and is corrected here.
    """

    air_degc: float | None = None
    humidity_fraction: float | None = None
    elevation_m: float = 0.0
    reads_actual: bool = True


@dataclass(frozen=True, slots=True)
class FlowTestSnapshot:
    """One flow test with its readings.

    Attributes
    ----------
    design
        The unit as it stood when the test was begun.
    limits
        Tolerances that the test was begun under; None judges it by the project's own.
    expected_outlets
        Ids of the outlets that a hood sum must cover; empty when the unit lists none.
    """

    id: int
    number: int
    state: TestState
    design: UnitSnapshot
    points: tuple[PointSnapshot, ...] = ()
    instrument: InstrumentSnapshot | None = None
    conditions: Conditions = Conditions()
    tested_on: date | None = None
    zero_reading_pa: float | None = None
    k_as_found_m3_s_sqrt_pa: float | None = None
    k_as_left_m3_s_sqrt_pa: float | None = None
    k_method: str = ""
    k_reason: str = ""
    limits: Tolerances | None = None
    expected_outlets: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Practice:
    """Limits of good practice that a project seldom changes, each with where it comes from.

    Attributes
    ----------
    k_change
        Change of K that asks for a reason [fraction] (common practice, no source).
    k_match
        Difference within which a K "is" that of another inlet [fraction] (common practice).
    relative_span
        Ratio of largest to smallest flow above which least relative squares are preferred
        (common practice, no source).
    repeat_spread
        Allowed (max - min)/mean of repeats [fraction] (common practice, no source).
    outlet_leak
        Allowed difference of unit and outlet sum [fraction]; leakage at outlet connections
        was measured as 1 to 8 % (published: laboratory study, 2003).
    damper_open
        Position from which a damper counts as open [fraction]; trim and respond requests
        begin above 95 % (published: ASHRAE Guideline 36).
    amplification_low, amplification_high
        Range in which the amplification of a flow sensor is believed (common practice).
    balance_spread
        Ratio of best to worst served outlet that points at the duct (common practice).
    zero_share
        Share of the lowest readable pressure that a zero reading may be off (common practice).
    coverage
        Coverage factor of expanded uncertainty; 2 is about 95 % (published: JCGM 100, GUM).
    """

    k_change: float = 0.20
    k_match: float = 0.03
    relative_span: float = 3.0
    repeat_spread: float = 0.05
    outlet_leak: float = 0.10
    damper_open: float = 0.95
    amplification_low: float = 1.5
    amplification_high: float = 3.5
    balance_spread: float = 2.0
    zero_share: float = 0.5
    coverage: float = 2.0


PRACTICE = Practice()
