"""The planning over the API."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from django.utils.dateparse import parse_date
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked, orders, wrong
from projectsite.core.paging import NumberedPages
from projectsite.core.scope import Scope
from zones.work.operations import periods as period_operations
from zones.work.operations.assignments import assign, end_assignments, take
from zones.work.queries.periods import PERIOD_SORTS, list_periods, period_row
from zones.work.queries.planning import (
    SORTS,
    PromiseFilter,
    in_order,
    last_day,
    narrowed,
    promises,
)
from zones.work.queries.weeks import past_weeks
from zones.work.serializers.planning import (
    WORK_TRADES,
    AheadOut,
    AssignIn,
    AssignOut,
    CellsIn,
    PeriodChangeIn,
    PeriodIn,
    PeriodOut,
    TakeIn,
    WeekOut,
    ahead_of,
    assigned,
    week_of,
)

MOST_WEEKS_AHEAD, USUAL_WEEKS_AHEAD = 6, 2
MOST_WEEKS_PAST, USUAL_WEEKS_PAST = 26, 8


_PROMISE_ORDERS, _PERIOD_ORDERS = orders(tuple(SORTS)), orders(PERIOD_SORTS)
_YES = ("true", "false")
_FILTERS = [
    OpenApiParameter("text", str, description="Part of a tag, location or step."),
    OpenApiParameter("floor", str),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("trade", str, enum=WORK_TRADES),
    OpenApiParameter("person", int, description="Id of the person who promised."),
    OpenApiParameter("step", int),
    OpenApiParameter("unit", int),
    OpenApiParameter("blocked", str, enum=_YES, description="Whether something holds it up."),
    OpenApiParameter("sort", str, enum=_PROMISE_ORDERS, description="Order; - for downwards."),
]
_DAYS = [
    OpenApiParameter("due_from", date, description="First day."),
    OpenApiParameter("due_to", date, description="Last day."),
]
_DONE = OpenApiParameter("done", str, enum=_YES, description="Also what is done.")
_WEEKS = OpenApiParameter("weeks", int, description="Weeks ahead, 1 to 6; 2 when left out.")
_PAST = OpenApiParameter("weeks", int, description="Weeks past, 1 to 26; 8 when left out.")


def _day(request: Request, name: str) -> date | None:
    given = request.query_params.get(name, "")
    try:
        found = parse_date(given) if given else None
    except ValueError:
        found = None
    if given and found is None:
        raise wrong(name, "Send a day as 2026-11-25.")
    return found


def _weeks(request: Request, most: int, usual: int) -> int:
    found = number_asked(request, "weeks")
    if found is not None and not 1 <= found <= most:
        raise wrong("weeks", f"Send a number from 1 to {most}.")
    return found or usual


def _filter(request: Request, **given: Any) -> PromiseFilter:
    blocked = choice_asked(request, "blocked", _YES)
    return PromiseFilter(
        text=request.query_params.get("text", ""),
        floor=request.query_params.get("floor", ""),
        air_handler=number_asked(request, "air_handler"),
        trade=choice_asked(request, "trade", WORK_TRADES),
        person=number_asked(request, "person"),
        step=number_asked(request, "step"),
        unit=number_asked(request, "unit"),
        is_blocked={"true": True, "false": False}.get(blocked),
        **given,
    )


class PlanningViewSet(ViewSet):
    """Base: a scope from the address, lists in numbered pages."""

    pagination_class = NumberedPages

    def scope(self, request: Request, action: Action = Action.SEE) -> Scope:
        """Decide whether the caller may do this in the project of the address."""
        return scope_for(request, self.kwargs["project_key"], action)

    def today(self, scope: Scope) -> date:
        """Day in the project's time zone."""
        return timezone.now().astimezone(ZoneInfo(scope.project.time_zone)).date()

    def paged(self, request: Request, rows: Sequence[Any]) -> tuple[NumberedPages, Any]:
        """One page of rows, and the paginator that answers with it."""
        pages = NumberedPages()
        return pages, pages.paginate_queryset(rows, request, self)

    def promised(self, request: Request, scope: Scope, wanted: PromiseFilter) -> Response:
        """Answer with the promises that match."""
        sort = choice_asked(request, "sort", _PROMISE_ORDERS, "due")
        rows = in_order(narrowed(promises(scope, self.today(scope)), wanted), sort)
        pages, shown = self.paged(request, rows)
        return pages.get_paginated_response([ahead_of(row) for row in shown])


class AssignmentViewSet(PlanningViewSet):
    """Who is to do which steps, and by when."""

    @extend_schema(parameters=[*_FILTERS, *_DAYS], responses=AheadOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the promises that stand."""
        scope = self.scope(request)
        wanted = _filter(
            request, due_from=_day(request, "due_from"), due_to=_day(request, "due_to")
        )
        return self.promised(request, scope, wanted)

    @extend_schema(request=AssignIn, responses=AssignOut)
    def create(self, request: Request, **_: Any) -> Response:
        """Say who is to do steps of units and by when."""
        scope = self.scope(request, Action.PLAN_WORK)
        given = AssignIn(data=request.data)
        given.is_valid(raise_exception=True)
        outcome = assign(
            scope,
            cells=given.cells_given,
            person_id=given.validated_data.get("person_id"),
            due_date=given.validated_data.get("due_date"),
            at=timezone.now(),
            keep=given.kept,
        )
        return Response(assigned(outcome))

    @extend_schema(request=TakeIn, responses=AssignOut)
    def take(self, request: Request, **_: Any) -> Response:
        """Take steps of one's own trade upon oneself."""
        scope = self.scope(request, Action.MARK_STEPS)
        given = TakeIn(data=request.data)
        given.is_valid(raise_exception=True)
        day = given.validated_data["due_date"]
        outcome = take(scope, cells=given.cells_given, due_date=day, at=timezone.now())
        return Response(assigned(outcome))

    @extend_schema(request=CellsIn, responses=AssignOut)
    def end(self, request: Request, **_: Any) -> Response:
        """End promises; who does not plan gives back what is theirs."""
        scope = self.scope(request, Action.MARK_STEPS)
        given = CellsIn(data=request.data)
        given.is_valid(raise_exception=True)
        outcome = end_assignments(scope, cells=given.cells_given, at=timezone.now())
        return Response(assigned(outcome))


class LookAheadViewSet(PlanningViewSet):
    """What is due in the next weeks and what holds it up; how past weeks went."""

    @extend_schema(parameters=[*_FILTERS, _WEEKS, _DONE], responses=AheadOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List promises that are overdue or due in the next weeks."""
        scope = self.scope(request)
        today = self.today(scope)
        weeks = _weeks(request, MOST_WEEKS_AHEAD, USUAL_WEEKS_AHEAD)
        wanted = _filter(
            request,
            due_from=today,
            due_to=last_day(today, weeks),
            is_late_shown=True,
            is_finished_shown=choice_asked(request, "done", _YES) == "true",
        )
        return self.promised(request, scope, wanted)

    @extend_schema(parameters=[_PAST], responses=WeekOut(many=True))
    def weeks(self, request: Request, **_: Any) -> Response:
        """Give the share of planned work completed by week, the earliest first."""
        scope = self.scope(request)
        weeks = _weeks(request, MOST_WEEKS_PAST, USUAL_WEEKS_PAST)
        found = past_weeks(scope, timezone.now(), weeks)
        pages, shown = self.paged(request, found)
        return pages.get_paginated_response([week_of(week) for week in shown])


class PeriodViewSet(PlanningViewSet):
    """When each trade is to work on each floor."""

    @extend_schema(
        parameters=[
            OpenApiParameter("floor", str),
            OpenApiParameter("trade", str, enum=WORK_TRADES),
            OpenApiParameter("sort", str, enum=_PERIOD_ORDERS),
        ],
        responses=PeriodOut(many=True),
    )
    def list(self, request: Request, **_: Any) -> Response:
        """List planned periods."""
        rows = list_periods(
            self.scope(request),
            floor=request.query_params.get("floor", ""),
            trade=choice_asked(request, "trade", WORK_TRADES),
            sort=choice_asked(request, "sort", _PERIOD_ORDERS, "start_date"),
        )
        pages, shown = self.paged(request, rows)
        return pages.get_paginated_response(shown)

    @extend_schema(request=PeriodIn, responses={201: PeriodOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Plan a period."""
        scope = self.scope(request, Action.PLAN_WORK)
        given = PeriodIn(data=request.data)
        given.is_valid(raise_exception=True)
        period_id = period_operations.add_period(scope, values=given.values)
        return Response(period_row(scope, period_id), status=status.HTTP_201_CREATED)

    @extend_schema(responses=PeriodOut)
    def retrieve(self, request: Request, period_id: int, **_: Any) -> Response:
        """Give one planned period."""
        return Response(period_row(self.scope(request), period_id))

    @extend_schema(request=PeriodChangeIn(partial=True), responses=PeriodOut)
    def partial_update(self, request: Request, period_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.PLAN_WORK)
        given = PeriodChangeIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        if "version" not in given.validated_data:
            raise wrong("version", "Send the version that you saw, so that nothing is overwritten.")
        period_operations.change_period(
            scope,
            period_id=period_id,
            version=given.validated_data["version"],
            values=given.values,
        )
        return Response(period_row(scope, period_id))

    @extend_schema(
        parameters=[OpenApiParameter("version", int, required=True)], responses={204: None}
    )
    def destroy(self, request: Request, period_id: int, **_: Any) -> Response:
        """Take a planned period out of the plan."""
        scope = self.scope(request, Action.PLAN_WORK)
        version = number_asked(request, "version")
        if version is None:
            raise wrong("version", "Send the version that you saw.")
        period_operations.remove_period(scope, period_id=period_id, version=version)
        return Response(status=status.HTTP_204_NO_CONTENT)


_ASSIGNMENTS, _PERIODS = AssignmentViewSet.as_view, PeriodViewSet.as_view
urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "work/assignments/", _ASSIGNMENTS({"get": "list", "post": "create"}), name="assignment-list"
    ),
    path("work/assignments/take/", _ASSIGNMENTS({"post": "take"}), name="assignment-take"),
    path("work/assignments/end/", _ASSIGNMENTS({"post": "end"}), name="assignment-end"),
    path("work/look-ahead/", LookAheadViewSet.as_view({"get": "list"}), name="look-ahead"),
    path("work/weeks/", LookAheadViewSet.as_view({"get": "weeks"}), name="weeks"),
    path("work/periods/", _PERIODS({"get": "list", "post": "create"}), name="period-list"),
    path(
        "work/periods/<int:period_id>/",
        _PERIODS({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="period-detail",
    ),
]
