"""The board over the API."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked
from projectsite.core.paging import NumberedPages, paged_list
from projectsite.core.scope import Scope
from zones.inventory.domain.types import UnitOutline
from zones.work.domain import words
from zones.work.operations.marks import mark_steps
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.board_rows import SORTS, STATES, BoardFilter, BoardRows, board_rows
from zones.work.queries.cells import cell, details
from zones.work.serializers.board import BoardRowOut, MarksIn, MarksOut, cell_of, outcome_of

_TRADES = tuple(key for key, _ in words.TRADES)
_STATES = tuple(key for key, _ in STATES)
_ORDERS = tuple(order for key in SORTS for order in (key, f"-{key}"))
_FILTERS = [
    OpenApiParameter("text", str, description="Part of a tag or location."),
    OpenApiParameter("floor", str),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("trunk", int, description="Id of a trunk."),
    OpenApiParameter("trade", str, enum=_TRADES, description="Steps of this trade only."),
    OpenApiParameter(
        "state", str, enum=_STATES, description="Units of which a step shown stands like this."
    ),
    OpenApiParameter("sort", str, enum=_ORDERS, description="Order; - for downwards."),
]


class BoardViewSet(ViewSet):
    """How the steps of the units of a project stand."""

    pagination_class = NumberedPages

    @extend_schema(parameters=_FILTERS, responses=BoardRowOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List units with their steps."""
        scope = scope_for(request, self.kwargs["project_key"], Action.SEE)
        wanted = BoardFilter(
            text=request.query_params.get("text", ""),
            floor=request.query_params.get("floor", ""),
            air_handler=number_asked(request, "air_handler"),
            trunk=number_asked(request, "trunk"),
            trade=choice_asked(request, "trade", _TRADES),
            state=choice_asked(request, "state", _STATES),
        )
        sort = choice_asked(request, "sort", _ORDERS, "tag")
        whole = whole_board(scope)
        rows = board_rows(whole, wanted, sort)
        return paged_list(
            self, request, rows.units, shown=lambda units: _rows(scope, whole, rows, units)
        )


def _rows(
    scope: Scope, whole: WholeBoard, rows: BoardRows, units: Sequence[UnitOutline]
) -> list[dict[str, Any]]:
    known = details(scope, whole, [unit.id for unit in units])
    return [
        {
            "unit_id": unit.id,
            "tag": unit.tag,
            "floor": unit.floor,
            "location": unit.location,
            "air_handler_id": unit.air_handler_id,
            "air_handler": unit.air_handler,
            "steps": [cell_of(cell(whole, known, unit.id, step)) for step in rows.steps],
        }
        for unit in units
    ]


class MarkViewSet(ViewSet):
    """What people say of steps."""

    @extend_schema(request=MarksIn, responses=MarksOut)
    def create(self, request: Request, **_: Any) -> Response:
        """Say how steps of units stand, or take back what was said."""
        scope = scope_for(request, self.kwargs["project_key"], Action.MARK_STEPS)
        given = MarksIn(data=request.data)
        given.is_valid(raise_exception=True)
        asked = given.validated_data
        cells = [(one["unit_id"], one["step_id"]) for one in asked["cells"]]
        outcome = mark_steps(
            scope, cells=cells, mark=asked["mark"], note=asked["note"], at=timezone.now()
        )
        return Response(outcome_of(outcome))


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/board/", BoardViewSet.as_view({"get": "list"}), name="board"),
    path("work/marks/", MarkViewSet.as_view({"post": "create"}), name="marks"),
]
