"""Names in a schedule that stand for other records: box models, inlets, handlers, zones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from zones.inventory.domain import checks
from zones.inventory.domain.schedule.types import (
    UNIT_OF_OUTLET,
    Base,
    BoxModel,
    Choices,
    Inlet,
    Mapped,
    Problem,
    Row,
    tag_key,
)

DIAMETER_TOLERANCE = 0.03
"""Largest difference of nominal diameters that are the same size: 250 mm is 10 in. [fraction]."""

NameOf = Callable[[int, int], str]
_LONGEST = {"air_handler": 40, "zone": 60}


def find_inlet(model: BoxModel, wanted: float | str) -> Inlet | None:
    """Find the inlet of a box model by its diameter [m] or by its label."""
    if isinstance(wanted, str):
        text = "".join(wanted.casefold().split())
        return next((i for i in model.inlets if "".join(i.label.casefold().split()) == text), None)
    near = [
        i for i in model.inlets if abs(i.diameter_m - wanted) <= DIAMETER_TOLERANCE * i.diameter_m
    ]
    return min(near, key=lambda inlet: abs(inlet.diameter_m - wanted), default=None)


def resolve_units(
    read: Sequence[Row],
    mapping: Sequence[Mapped],
    base: Base,
    choices: Choices,
    name_of: NameOf,
    show: checks.Show,
) -> None:
    """Replace names by what they stand for; a name that stands for nothing is a problem."""
    columns = {m.field.name: m.column + 1 for m in mapping}
    finder = _InletFinder(base, choices, show)
    has_heat = "heat" in columns
    for row in read:
        if row.key in base.records and base.records[row.key].is_archived:
            _wrong(
                row, "tag", f"The unit {row.tag} is archived. Restore it first.", columns, name_of
            )
        if "inlet" in columns or "box_model" in columns:
            _inlet(row, finder, base, columns, name_of)
        if "controller_model" in columns:
            _controller(row, base, columns, name_of)
        for name, archived in (
            ("air_handler", base.archived_air_handlers),
            ("zone", base.archived_zones),
        ):
            if name in columns:
                _tag_of(row, name, archived, columns, name_of)
        if not has_heat:
            _heat_by_coil(row)


def _wrong(row: Row, name: str, message: str, columns: dict[str, int], name_of: NameOf) -> None:
    cell = name_of(row.number, columns[name]) if name in columns else ""
    row.problems.append(Problem(cell, name, message))


class _InletFinder:
    """Finds inlets, each pair of box model and size once."""

    def __init__(self, base: Base, choices: Choices, show: checks.Show) -> None:
        self._by_name = {tag_key(model.name): model for model in base.box_models}
        self._by_id = {model.id: model for model in base.box_models}
        self.default = self._by_id.get(choices.box_model_id or 0)
        self._known: dict[tuple[int, Any], tuple[int | None, str]] = {}
        self._show = show

    def model(self, name: str) -> BoxModel | None:
        return self._by_name.get(tag_key(name))

    def of_id(self, model_id: int | None) -> BoxModel | None:
        return self._by_id.get(model_id or 0)

    def inlet(self, model: BoxModel, wanted: Any, text: str) -> tuple[int | None, str]:
        """Id of the inlet, or None and what is wrong."""
        key = (model.id, wanted)
        if key not in self._known:
            found = find_inlet(model, wanted)
            sizes = ", ".join(inlet.label for inlet in model.inlets) or "none yet"
            message = f"{model.name} has no inlet of {text.rstrip('.')}. It has: {sizes}."
            self._known[key] = (found.id, "") if found else (None, message)
        return self._known[key]


def _inlet(
    row: Row, finder: _InletFinder, base: Base, columns: dict[str, int], name_of: NameOf
) -> None:
    name = row.values.pop("box_model", None) or ""
    wanted = row.values.get("inlet")
    text = row.entered.pop("inlet", "")
    row.values["inlet"] = None
    if any(problem.field in {"inlet", "box_model"} for problem in row.problems):
        return
    if name:
        model = finder.model(name)
        if model is None:
            message = (
                f"There is no box model “{name}” in the library. Add it there, or mend the name."
            )
            _wrong(row, "box_model", message, columns, name_of)
            return
        if wanted is None or wanted == "":
            _wrong(row, "inlet", "The box model is given without its inlet size.", columns, name_of)
            return
    else:
        if wanted is None or wanted == "":
            return
        record = base.records.get(row.key)
        model = finder.default or finder.of_id(record.box_model_id if record else None)
        if model is None:
            message = "The inlet size needs a box model: choose one for the whole file."
            _wrong(row, "inlet", message, columns, name_of)
            return
    found, problem = finder.inlet(model, wanted, text or str(wanted))
    if problem:
        _wrong(row, "inlet", problem, columns, name_of)
    row.values["inlet"] = found


def _controller(row: Row, base: Base, columns: dict[str, int], name_of: NameOf) -> None:
    name = row.values.get("controller_model") or ""
    row.values["controller_model"] = base.controllers.get(tag_key(name)) if name else None
    if name and row.values["controller_model"] is None:
        message = f"There is no controller model “{name}” in the library. Add it there first."
        _wrong(row, "controller_model", message, columns, name_of)


def _tag_of(
    row: Row, name: str, archived: frozenset[str], columns: dict[str, int], name_of: NameOf
) -> None:
    tag = row.values.get(name) or ""
    row.values[name] = tag
    label = "air handler" if name == "air_handler" else "zone"
    if tag and tag_key(tag) in archived:
        _wrong(row, name, f"The {label} {tag} is archived. Restore it first.", columns, name_of)
    if len(tag) > _LONGEST[name]:
        message = (
            f"The tag of the {label} may have {_LONGEST[name]} characters; this has {len(tag)}."
        )
        _wrong(row, name, message, columns, name_of)


def _heat_by_coil(row: Row) -> None:
    """Tell the kind of reheat by its figures where the schedule has no column for it."""
    if row.values.get("heater_power_w") is not None:
        row.values["heat"] = "electric"
    elif row.values.get("water_flow_m3_s") is not None:
        row.values["heat"] = "hot-water"


def resolve_outlets(
    read: Sequence[Row], mapping: Sequence[Mapped], base: Base, name_of: NameOf
) -> None:
    """Find the unit of each outlet; an unknown or archived unit is a problem."""
    columns = {m.field.name: m.column + 1 for m in mapping}
    for row in read:
        unit = row.values.get(UNIT_OF_OUTLET) or ""
        key = tag_key(unit)
        row.unit_id = base.units.get(key)
        if unit and row.unit_id is None:
            what = (
                "is archived; restore it first"
                if key in base.archived_units
                else "is not in this project"
            )
            _wrong(row, UNIT_OF_OUTLET, f"The unit {unit} {what}.", columns, name_of)
        record = base.records.get(row.key)
        if record is not None and record.is_archived:
            message = f"The outlet {row.tag} is archived. Restore it first."
            _wrong(row, "tag", message, columns, name_of)
