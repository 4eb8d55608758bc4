"""The floor plan as a document: the picture with its units, and the same as a table."""

from __future__ import annotations

import base64
from typing import cast

from django.core.files.storage import default_storage

from projectsite.core.errors import InvalidInput
from projectsite.core.scope import Scope
from reports.domain.blocks import CellData, ColumnData, SectionData
from reports.domain.marking import MarkState
from zones.work.queries.plans import PlanPoint, list_plans, plan_sheet
from zones.work.tables.plans import sheet_drawing

KIND = "floor-plan"
_COLUMNS = (
    ColumnData("Unit", 16),
    ColumnData("Location", 30),
    ColumnData("State", 24),
    ColumnData("From the west", 14, "length"),
    ColumnData("From the south", 14, "length"),
)


def sections(scope: Scope, floor: str, view: str) -> tuple[SectionData, ...]:
    """Give the plan of a floor with its units as they stand.

    Raises
    ------
    InvalidInput
        The floor has no plan, or there is no such view.
    """
    plan = next((plan for plan in list_plans(scope) if plan.floor == floor), None)
    if plan is None:
        message = "Choose a floor that has a plan." if not floor else f"Floor {floor} has no plan."
        raise InvalidInput(message, fields={"floor": message})
    sheet = plan_sheet(scope, plan.id, view)
    if view and sheet.view != view:
        message = f"One of: {', '.join(key for key, _ in sheet.views)}."
        raise InvalidInput(f"A plan does not show {view}.", fields={"view": message})
    with default_storage.open(plan.image) as stored:
        image = base64.b64encode(stored.read()).decode()
    picture = sheet_drawing(sheet, image=f"data:image/png;base64,{image}", is_page=False)
    counts = "; ".join(f"{word}: {number}" for _state, word, number in sheet.legend)
    told = [f"{sheet.view_label}. {counts}."]
    if sheet.unplaced:
        tags = ", ".join(point.tag for point in sheet.unplaced)
        told.append(f"Not placed on the plan: {tags}.")
    return (
        SectionData(plan.name or f"Floor {floor}", tuple(told), picture=picture),
        SectionData(
            "The same as a table",
            columns=_COLUMNS,
            rows=tuple(_row(point) for point in sheet.points),
            starts_page=True,
        ),
    )


def _row(point: PlanPoint) -> tuple[CellData, ...]:
    x_m, y_m = point.place_m or (None, None)
    return (
        CellData(point.tag),
        CellData(point.location),
        CellData(point.word, mark=cast("MarkState", point.state) if point.state else None),
        CellData(value=x_m),
        CellData(value=y_m),
    )
