"""From the inventory's facts to airflow snapshots, and the record that a test keeps of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, TypeVar

from balancing.airflow.domain.types import (
    ControllerSnapshot,
    InletSnapshot,
    Setpoints,
    UnitSnapshot,
)
from projectsite.core.scope import Tolerances
from zones.inventory.domain.types import InletFacts, UnitFacts

_Record = TypeVar("_Record", Setpoints, InletSnapshot, ControllerSnapshot, Tolerances)


def unit_snapshot(facts: UnitFacts) -> UnitSnapshot:
    """Take from a unit's facts what airflow rules need."""
    return UnitSnapshot(
        unit_id=facts.id,
        tag=facts.tag,
        setpoints=Setpoints(
            cooling_max_m3_s=facts.cooling_max_m3_s,
            cooling_min_m3_s=facts.cooling_min_m3_s,
            heating_max_m3_s=facts.heating_max_m3_s,
            heating_min_m3_s=facts.heating_min_m3_s,
            standby_min_m3_s=facts.standby_min_m3_s,
        ),
        box_model=facts.box_model,
        inlet=_inlet(facts.inlet) if facts.inlet else None,
        other_inlets=tuple(
            _inlet(inlet)
            for inlet in facts.inlets
            if facts.inlet is None or inlet.id != facts.inlet.id
        ),
        controller=ControllerSnapshot(
            name=facts.controller.name,
            readable_pressure_pa=facts.controller.readable_pressure_pa,
            span_pa=facts.controller.span_pa,
            accuracy_fraction=facts.controller.accuracy_fraction,
            accuracy_floor_pa=facts.controller.accuracy_floor_pa,
        )
        if facts.controller
        else None,
    )


def _inlet(facts: InletFacts) -> InletSnapshot:
    return InletSnapshot(
        facts.label, facts.diameter_m, facts.free_area_m2, facts.nominal_k_m3_s_sqrt_pa
    )


def design_record(unit: UnitSnapshot, limits: Tolerances) -> dict[str, Any]:
    """Give what a test keeps of the unit and of the project's limits, fit for JSON.

    A later change of the schedule, the library or the tolerances then leaves the test's own
    verdict as it was.
    """
    return {"unit": asdict(unit), "limits": asdict(limits)}


def unit_from_record(record: Mapping[str, Any], *, unit_id: int, tag: str) -> UnitSnapshot:
    """Read the unit back from ``design_record``; what it lacks is unknown.

    ``unit_id`` and ``tag`` stand in for a record that has none.
    """
    unit: Mapping[str, Any] = record.get("unit") or {}
    inlet, controller = unit.get("inlet"), unit.get("controller")
    return UnitSnapshot(
        unit_id=unit.get("unit_id", unit_id),
        tag=unit.get("tag", tag),
        setpoints=_read(Setpoints, unit.get("setpoints") or {}),
        box_model=unit.get("box_model", ""),
        inlet=_read(InletSnapshot, inlet) if inlet else None,
        other_inlets=tuple(_read(InletSnapshot, item) for item in unit.get("other_inlets") or ()),
        controller=_read(ControllerSnapshot, controller) if controller else None,
    )


def limits_from_record(record: Mapping[str, Any]) -> Tolerances | None:
    """Read the limits back from ``design_record``; None when the record has none."""
    limits = record.get("limits")
    return _read(Tolerances, limits) if limits else None


def _read(kind: type[_Record], values: Mapping[str, Any]) -> _Record:
    # Names that a later version dropped are left out, so that an old record stays readable.
    known = {item.name for item in fields(kind)}
    return kind(**{name: value for name, value in values.items() if name in known})
