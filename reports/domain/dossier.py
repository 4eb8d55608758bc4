"""What a document shows, as one frozen tree in SI.

A document is rendered from its dossier alone. The dossier is stored with the document, so
that an issued document can be rendered again years later, identically, whatever happened to
the record since. Dates are written as 2026-11-25 in the project's time zone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from projectsite.core.scope import UnitSystem
from reports.domain.blocks import SectionData
from reports.domain.codec import BrokenDossier, decode, encode
from reports.domain.marking import MarkState

SCHEMA = 1
"""Version of the stored form; a change that old dossiers can't follow gets a new number."""


def shown(label: str, kind: str = "") -> dict[str, str]:
    """Metadata of a field: its printed name and its kind of quantity ("" for plain text)."""
    return {"label": label, "kind": kind}


@dataclass(frozen=True, slots=True)
class Verdict:
    """A state mark and the word that stands beside it."""

    state: MarkState
    word: str


NOT_JUDGED = Verdict("wait", "not judged")


@dataclass(frozen=True, slots=True)
class Frame:
    """What the title block says.

    Attributes
    ----------
    kind
        Key of the kind of document.
    scope_label
        What the document covers: a unit's tag, an air handler's tag or "whole project".
    state
        "draft" or "issued"; a draft has neither number nor issue.
    date, person
        When and by whom it was issued or, for a draft, drafted.
    revision
        Highest schedule revision among the units shown; 0 when none changed anything.
    label_sheet, labels_used
        For labels: key of the sheet, and how many labels of the first one are gone.
    """

    kind: str
    title: str
    scope_label: str
    state: Literal["draft", "issued"] = "draft"
    number: str = ""
    issue: int | None = None
    date: str = ""
    person: str = ""
    note: str = ""
    revision: int = 0
    label_sheet: str = ""
    labels_used: int = 0


@dataclass(frozen=True, slots=True)
class ToleranceData:
    """Limits that the figures were judged by, as in the project [fractions of design; SI]."""

    unit_over: float = field(metadata=shown("terminal unit, over", "fraction"))
    unit_under: float = field(metadata=shown("terminal unit, under", "fraction"))
    outlet_over: float = field(metadata=shown("outlet, over", "fraction"))
    outlet_under: float = field(metadata=shown("outlet, under", "fraction"))
    floor_m3_s: float = field(metadata=shown("deviation always allowed", "airflow"))
    agreement: float = field(metadata=shown("reported against measured", "fraction"))
    readable_pressure_pa: float = field(metadata=shown("lowest readable pressure", "pressure"))
    hood_minimum_m3_s: float = field(metadata=shown("least flow trusted to a hood", "airflow"))
    inlet_velocity_limit_m_s: float = field(metadata=shown("inlet velocity limit", "velocity"))
    guard_band: bool = field(metadata=shown("limits narrowed by the uncertainty"))


@dataclass(frozen=True, slots=True)
class ProjectData:
    """The project as the document shows it."""

    key: str
    number: str
    name: str
    system: UnitSystem
    time_zone: str
    elevation_m: float
    tolerances: ToleranceData


@dataclass(frozen=True, slots=True)
class FindingData:
    """One finding with its words; ``severity`` is the number of ``core.findings.Severity``."""

    code: str
    severity: int
    subject: str
    message: str
    action: str
    reference: str = ""


@dataclass(frozen=True, slots=True)
class StepData:
    """One line of working; terms pair a printed name with an SI value and its kind."""

    text: str
    terms: tuple[tuple[str, float | str | None, str], ...] = ()


@dataclass(frozen=True, slots=True)
class InstrumentData:
    """An instrument with its accuracy (share of reading; fixed part in its own SI unit)."""

    kind: str
    name: str
    serial: str
    accuracy_fraction: float = 0.0
    accuracy_floor_si: float = 0.0
    floor_kind: str = "airflow"
    calibrated_date: str = ""
    due_date: str = ""


@dataclass(frozen=True, slots=True)
class OutletData:
    """An outlet as scheduled."""

    tag: str
    kind: str
    location: str = ""
    design_m3_s: float | None = field(default=None, metadata=shown("design", "airflow"))
    hood_factor: float = field(default=1.0, metadata=shown("hood factor"))


@dataclass(frozen=True, slots=True)
class OutletReading:
    """Readings of one outlet at one point [m³/s]; the flow is their mean times the factor."""

    tag: str
    design_m3_s: float | None
    hood_factor: float
    readings_m3_s: tuple[float, ...]
    flow_m3_s: float | None = field(default=None, metadata=shown("measured", "airflow"))
    design_fraction: float | None = field(
        default=None, metadata=shown("measured, of design", "fraction")
    )
    verdict: Verdict = NOT_JUDGED


@dataclass(frozen=True, slots=True)
class PointData:
    """One point of a round: target, what the controller reported, what was measured [SI]."""

    round: str
    setpoint: str
    label: str
    target_m3_s: float | None = field(default=None, metadata=shown("target", "airflow"))
    reported_m3_s: float | None = field(default=None, metadata=shown("reported", "airflow"))
    sensed_pressure_pa: float | None = field(
        default=None, metadata=shown("sensed pressure", "pressure")
    )
    measured_m3_s: float | None = field(default=None, metadata=shown("measured", "airflow"))
    design_fraction: float | None = field(
        default=None, metadata=shown("measured, of target", "fraction")
    )
    agreement_fraction: float | None = field(
        default=None, metadata=shown("reported less measured", "fraction")
    )
    agrees: bool | None = field(default=None, metadata=shown("reported agrees with measured"))
    uncertainty_fraction: float | None = field(
        default=None, metadata=shown("uncertainty of measured", "fraction")
    )
    verdict: Verdict = NOT_JUDGED
    is_traverse: bool = False
    note: str = ""
    outlets: tuple[OutletReading, ...] = ()


@dataclass(frozen=True, slots=True)
class TestData:
    """A flow test as it stood, with the figures that were computed from it.

    Attributes
    ----------
    k_fitted_m3_s_sqrt_pa
        K factor that the readings call for, whether or not it was entered; the plot's line.
    """

    number: int
    state: str
    tested_date: str
    technician: str
    entered_by: str = ""
    instrument: InstrumentData | None = None
    air_degc: float | None = field(default=None, metadata=shown("air temperature", "temperature"))
    humidity_fraction: float | None = field(
        default=None, metadata=shown("relative humidity", "fraction")
    )
    elevation_m: float | None = field(default=None, metadata=shown("elevation", "elevation"))
    density_kg_m3: float | None = field(default=None, metadata=shown("air density", "density"))
    hood_reads_actual: bool = field(default=True, metadata=shown("hood corrects for density"))
    zero_reading_pa: float | None = field(default=None, metadata=shown("zero reading", "pressure"))
    k_as_found_m3_s_sqrt_pa: float | None = field(
        default=None, metadata=shown("K as found", "k_factor")
    )
    k_as_left_m3_s_sqrt_pa: float | None = field(
        default=None, metadata=shown("K as left", "k_factor")
    )
    k_fitted_m3_s_sqrt_pa: float | None = field(
        default=None, metadata=shown("K from the readings", "k_factor")
    )
    k_method: str = field(default="", metadata=shown("K as left by"))
    k_reason: str = field(default="", metadata=shown("reason for K"))
    lowest_controllable_m3_s: float | None = field(
        default=None, metadata=shown("lowest controllable flow", "airflow")
    )
    verdict: Verdict = field(default=NOT_JUDGED, metadata=shown("verdict"))
    note: str = ""
    accepted_by: str = ""
    accepted_date: str = ""
    decision_note: str = ""
    points: tuple[PointData, ...] = ()
    working: tuple[StepData, ...] = ()
    references: tuple[str, ...] = ()

    __test__ = False  # its name begins like a test's


@dataclass(frozen=True, slots=True)
class UnitData:
    """A terminal unit as scheduled, with its test and its findings."""

    tag: str
    address: str = ""
    air_handler: str = field(default="", metadata=shown("air handler"))
    zone: str = field(default="", metadata=shown("zone"))
    floor: str = field(default="", metadata=shown("floor"))
    location: str = field(default="", metadata=shown("location"))
    fan: str = field(default="none", metadata=shown("fan"))
    heat: str = field(default="none", metadata=shown("reheat"))
    box_model: str = field(default="", metadata=shown("box model"))
    inlet: str = field(default="", metadata=shown("inlet"))
    free_area_m2: float | None = field(default=None, metadata=shown("free area", "free_area"))
    nominal_k_m3_s_sqrt_pa: float | None = field(
        default=None, metadata=shown("nominal K", "k_factor")
    )
    controller: str = field(default="", metadata=shown("controller"))
    readable_pressure_pa: float | None = field(
        default=None, metadata=shown("lowest readable pressure", "pressure")
    )
    cooling_max_m3_s: float | None = field(
        default=None, metadata=shown("cooling maximum", "airflow")
    )
    cooling_min_m3_s: float | None = field(
        default=None, metadata=shown("cooling minimum", "airflow")
    )
    heating_max_m3_s: float | None = field(
        default=None, metadata=shown("heating maximum", "airflow")
    )
    heating_min_m3_s: float | None = field(
        default=None, metadata=shown("heating minimum", "airflow")
    )
    standby_min_m3_s: float | None = field(
        default=None, metadata=shown("standby minimum", "airflow")
    )
    network_number: int | None = field(default=None, metadata=shown("network number"))
    mac_address: int | None = field(default=None, metadata=shown("MAC address"))
    device_instance: int | None = field(default=None, metadata=shown("device instance"))
    revision: int = field(default=0, metadata=shown("schedule revision"))
    outlets: tuple[OutletData, ...] = ()
    test: TestData | None = None
    state: Verdict = Verdict("wait", "not tested")
    findings: tuple[FindingData, ...] = ()


@dataclass(frozen=True, slots=True)
class Dossier:
    """Everything that one document shows."""

    frame: Frame
    project: ProjectData
    units: tuple[UnitData, ...] = ()
    sections: tuple[SectionData, ...] = ()
    schema: int = SCHEMA

    def to_json(self) -> dict[str, Any]:
        """Give the tree as plain values for storing."""
        plain: dict[str, Any] = encode(self)
        return plain

    @classmethod
    def from_json(cls, data: Any) -> Dossier:
        """Read a stored dossier.

        Raises
        ------
        BrokenDossier
            Another schema, or data that do not fit it.
        """
        schema = data.get("schema") if isinstance(data, dict) else None
        if schema != SCHEMA:
            raise BrokenDossier(f"the dossier has schema {schema!r}; this program reads {SCHEMA}")
        return decode(cls, data)


def instruments(dossier: Dossier) -> list[InstrumentData]:
    """Instruments that the tests of a dossier used, each once, by name and serial number."""
    used = {
        unit.test.instrument
        for unit in dossier.units
        if unit.test is not None and unit.test.instrument is not None
    }
    return sorted(used, key=lambda item: (item.name, item.serial))


def point_of(test: TestData | None, setpoint: str, round_: str = "as-left") -> PointData | None:
    """Find a point of a test; as left when it was taken then, else as found."""
    if test is None:
        return None
    taken = {(p.round, p.setpoint): p for p in test.points if p.measured_m3_s is not None}
    return taken.get((round_, setpoint)) or taken.get(("as-found", setpoint))
