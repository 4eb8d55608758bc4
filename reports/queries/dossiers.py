"""The dossier of a unit, an air handler or the whole project, out of the current record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date as day

from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.types import FlowTestSnapshot
from balancing.airflow.queries.records import point_notes, test_records
from balancing.airflow.queries.snapshots import snapshots
from balancing.airflow.queries.standing import outdated
from projectsite.core import findings
from projectsite.core.errors import InvalidInput
from projectsite.core.scope import Scope
from reports.domain.blocks import SectionData
from reports.domain.dossier import (
    Dossier,
    FindingData,
    Frame,
    OutletData,
    ProjectData,
    TestData,
    ToleranceData,
    UnitData,
    Verdict,
)
from reports.queries import plan_papers, work_papers
from reports.queries.flow_tests import test_data
from zones.inventory import queries as inventory
from zones.inventory.domain.fields import OUTLET_KINDS
from zones.inventory.domain.types import UnitFacts
from zones.work.domain.labels import SHEET
from zones.work.domain.words import TRADES

KIND_TITLES = {
    "unit-balance": "Air balance sheet",
    "balance-report": "Air balance report",
    "point-list": "Point and address list",
    "progress-report": "Progress report",
    "punch-list": "Punch list",
    "checkout-sheets": "Checkout sheets",
    "floor-plan": "Floor plan",
    "label-sheet": "Box labels",
}
TRADE_NAMES = dict(TRADES)
STATES = {
    "open": Verdict("look", "test in hand"),
    "submitted": Verdict("look", "handed in"),
    "returned": Verdict("hold", "returned"),
    "accepted": Verdict("done", "accepted"),
}
OUTLET_NAMES = dict(OUTLET_KINDS)
OUT_OF_DATE = Verdict("hold", "out of date")


@dataclass(frozen=True, slots=True)
class Subject:
    """What a document is about: one unit, one air handler, or, with neither, the project.

    Attributes
    ----------
    floor, trade
        What narrows a document of the work further; "" for all.
    view
        What a floor plan shows: "progress", "findings", "punch", or "step-" and a step's key;
        "" for the progress.
    label_sheet, labels_used
        For labels: key of the sheet, and how many labels of the first one are gone.
    """

    unit_id: int | None = None
    air_handler_id: int | None = None
    floor: str = ""
    trade: str = ""
    view: str = ""
    label_sheet: str = ""
    labels_used: int = 0

    @property
    def options(self) -> dict[str, str | int]:
        """What narrows the document besides unit and air handler, as it is stored."""
        given: dict[str, str | int] = {
            "floor": self.floor,
            "trade": self.trade,
            "view": self.view,
            "label_sheet": self.label_sheet,
            "labels_used": self.labels_used,
        }
        return {name: value for name, value in given.items() if value}


def assemble(
    scope: Scope, kind: str, subject: Subject, *, date: str, address: str
) -> tuple[Dossier, str]:
    """Give the dossier as the record stands now, as a draft, and the document's title.

    Parameters
    ----------
    date
        Day of the draft in the project's time zone, as 2026-11-25.
    address
        Where this site is reached, for the code that leads to a unit's page.

    Raises
    ------
    InvalidInput
        The subject has no units, or a sheet of a unit was asked for without a unit.
    NotFound
        The unit or the air handler is not in the project.
    """
    _check_options(kind, subject)
    label, unit_ids = _scope_of(scope, kind, subject)
    is_of_work = kind in work_papers.KINDS or kind == plan_papers.KIND
    units = () if is_of_work else _units(scope, unit_ids, address)
    sections: tuple[SectionData, ...] = ()
    if kind == plan_papers.KIND:
        sections = plan_papers.sections(scope, subject.floor, subject.view)
    elif is_of_work:
        sections = work_papers.sections(
            scope,
            kind,
            unit_ids,
            floor=subject.floor,
            air_handler_id=subject.air_handler_id,
            trade=subject.trade,
            day=day.fromisoformat(date),
        )
    frame = Frame(
        kind=kind,
        title=KIND_TITLES[kind],
        scope_label=label,
        date=date,
        person=scope.person.name,
        revision=max((unit.revision for unit in units), default=0),
        label_sheet=subject.label_sheet,
        labels_used=subject.labels_used,
    )
    return Dossier(frame, project_data(scope), units, sections), f"{frame.title}, {label}"


def _check_options(kind: str, subject: Subject) -> None:
    """Refuse options that the kind of document does not know or that make no sense."""
    if subject.trade and (kind != "punch-list" or subject.trade not in TRADE_NAMES):
        raise InvalidInput(
            "Only a punch list is of one trade.", fields={"trade": "Choose one of the trades."}
        )
    if subject.view and kind != plan_papers.KIND:
        message = "Only a floor plan has a view."
        raise InvalidInput(message, fields={"view": message})
    if kind != "label-sheet":
        if subject.label_sheet or subject.labels_used:
            message = "Only box labels take a sheet of labels."
            raise InvalidInput(message, fields={"label_sheet": message})
        return
    sheet = SHEET.get(subject.label_sheet)
    if sheet is None:
        message = "Choose the sheet of labels that is in the printer."
        raise InvalidInput(message, fields={"label_sheet": message})
    if not 0 <= subject.labels_used < sheet.count:
        message = f"This sheet holds {sheet.count} labels; give 0 to {sheet.count - 1}."
        raise InvalidInput(message, fields={"labels_used": message})


def project_data(scope: Scope) -> ProjectData:
    """The project as a document shows it, in the project's own units."""
    project = scope.project
    return ProjectData(
        key=project.key,
        number=project.number,
        name=project.name,
        system=project.system,
        time_zone=project.time_zone,
        elevation_m=project.elevation_m,
        tolerances=ToleranceData(**asdict(project.tolerances)),
    )


def _scope_of(scope: Scope, kind: str, subject: Subject) -> tuple[str, list[int]]:
    if subject.unit_id is not None:
        return str(inventory.unit_row(scope, subject.unit_id)["tag"]), [subject.unit_id]
    if kind == "unit-balance":
        raise InvalidInput(
            "An air balance sheet is of one terminal unit; choose it.",
            fields={"unit": "Choose the terminal unit."},
        )
    labels = []
    if subject.air_handler_id is not None:
        labels.append(inventory.air_handler(scope, subject.air_handler_id).tag)
    if subject.floor:
        labels.append(f"floor {subject.floor}")
    wanted = inventory.UnitFilter(air_handler=subject.air_handler_id, floor=subject.floor or None)
    ids = inventory.unit_ids(scope, wanted)
    label = ", ".join(labels) or "whole project"
    if subject.trade:
        label += f", {TRADE_NAMES[subject.trade].lower()}"
    if not ids:
        raise InvalidInput(f"There are no terminal units in {label} yet; import a schedule first.")
    return label, ids


def _units(scope: Scope, unit_ids: Sequence[int], address: str) -> tuple[UnitData, ...]:
    by_unit = snapshots(scope, unit_ids)
    tests = {unit_id: _chosen(held) for unit_id, held in by_unit.items()}
    ids = [test.id for test in tests.values()]
    records, notes = test_records(scope, ids), point_notes(scope, ids)
    open_items: dict[int, list[FindingData]] = {}
    for unit_id, item in findings.by_unit(findings.collect(scope, unit_ids)):
        open_items.setdefault(unit_id, []).append(_finding(item))
    root = f"{address.rstrip('/')}/p/{scope.project.key}/units"
    made = []
    for facts in inventory.unit_facts(scope, unit_ids):
        snapshot = tests.get(facts.id)
        test = None
        if snapshot is not None:
            result = evaluate(snapshot, scope.project.tolerances)
            test = test_data(result, records[snapshot.id], notes, scope.project.time_zone)
        made.append(
            _unit(
                facts,
                test,
                _state(scope, facts, snapshot),
                tuple(open_items.get(facts.id, ())),
                f"{root}/{facts.id}/",
            )
        )
    return tuple(made)


def _chosen(held: Sequence[FlowTestSnapshot]) -> FlowTestSnapshot:
    """The accepted test when there is one, else the newest."""
    accepted = [test for test in held if test.state == "accepted"]
    return (accepted or list(held))[-1]


def _state(scope: Scope, facts: UnitFacts, test: FlowTestSnapshot | None) -> Verdict:
    if test is None:
        return Verdict("wait", "not tested")
    return OUT_OF_DATE if outdated(scope, test, facts) else STATES[test.state]


def _finding(item: findings.Finding) -> FindingData:
    return FindingData(
        code=item.code,
        severity=int(item.severity),
        subject=item.subject.label,
        message=item.message,
        action=item.action,
        reference=item.reference,
    )


def _unit(
    facts: UnitFacts,
    test: TestData | None,
    state: Verdict,
    open_items: tuple[FindingData, ...],
    address: str,
) -> UnitData:
    inlet, controller = facts.inlet, facts.controller
    return UnitData(
        tag=facts.tag,
        address=address,
        air_handler=facts.air_handler,
        zone=facts.zone,
        floor=facts.floor,
        location=facts.location,
        fan=facts.fan,
        heat=facts.heat,
        box_model=facts.box_model,
        inlet=inlet.label if inlet else "",
        free_area_m2=inlet.free_area_m2 if inlet else None,
        nominal_k_m3_s_sqrt_pa=inlet.nominal_k_m3_s_sqrt_pa if inlet else None,
        controller=controller.name if controller else "",
        readable_pressure_pa=controller.readable_pressure_pa if controller else None,
        cooling_max_m3_s=facts.cooling_max_m3_s,
        cooling_min_m3_s=facts.cooling_min_m3_s,
        heating_max_m3_s=facts.heating_max_m3_s,
        heating_min_m3_s=facts.heating_min_m3_s,
        standby_min_m3_s=facts.standby_min_m3_s,
        network_number=facts.network_number,
        mac_address=facts.mac_address,
        device_instance=facts.device_instance,
        revision=facts.revision,
        outlets=tuple(
            OutletData(
                o.tag, OUTLET_NAMES.get(o.kind, o.kind), o.location, o.design_m3_s, o.hood_factor
            )
            for o in facts.outlets
        ),
        test=test,
        state=state,
        findings=open_items,
    )
