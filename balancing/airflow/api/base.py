"""What the airflow API shares: scope, paging over plain values, and a test in full."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from balancing.airflow.domain.completeness import missing
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.queries import tests as queries
from balancing.airflow.queries.snapshots import test_snapshot
from balancing.airflow.queries.standing import findings_of_test
from balancing.airflow.serializers import evaluation_of
from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import NumberedPages
from projectsite.core.scope import Scope
from zones.inventory.queries import unit_facts


class AirflowViewSet(ViewSet):
    """Base: a scope from the address, lists in numbered pages."""

    pagination_class = NumberedPages

    def scope(self, request: Request, action: Action = Action.SEE_TESTS) -> Scope:
        """Decide whether the caller may do this in the project of the address."""
        return scope_for(request, self.kwargs["project_key"], action)


class _Rows:
    """Rows that are counted and fetched by page, for the paginator."""

    def __init__(self, count: int, fetch: Callable[[int, int], Sequence[Any]]) -> None:
        self._count = count
        self._fetch = fetch

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, part: slice) -> Sequence[Any]:
        start, stop = part.start or 0, part.stop or self._count
        return self._fetch(start, stop - start) if stop > start else []


def paged(
    view: AirflowViewSet,
    request: Request,
    count: int,
    fetch: Callable[[int, int], Sequence[Any]],
) -> Response:
    """Answer with one page of rows; ``fetch`` takes offset and limit."""
    pages = NumberedPages()
    rows: Any = pages.paginate_queryset(_Rows(count, fetch), request, view)  # type: ignore[arg-type]  # counts and slices like a query
    return pages.get_paginated_response(rows)


def sorted_by(request: Request, sorts: Sequence[str], default: str) -> str:
    """Order that the address asks for, ``-`` in front for downwards."""
    asked = request.query_params.get("sort", default)
    if asked.removeprefix("-") not in sorts:
        raise _wrong("sort", f"Sort by one of: {', '.join(sorts)}.")
    return asked


def sort_parameter(sorts: Sequence[str]) -> OpenApiParameter:
    """Description of the order of a list."""
    orders = [order for key in sorts for order in (key, f"-{key}")]
    return OpenApiParameter("sort", str, description="Order; - for downwards.", enum=orders)


def number_asked(request: Request, name: str) -> int | None:
    """Whole number in the address, or None; anything else is refused."""
    given = request.query_params.get(name, "")
    if not given:
        return None
    if not (given.isascii() and given.isdecimal() and len(given) < 19):
        raise _wrong(name, "Send a whole number.")
    return int(given)


def choice_asked(request: Request, name: str, choices: Sequence[str]) -> str:
    """Word of ``choices`` in the address, or "" when it is not asked for."""
    given = request.query_params.get(name, "")
    if given and given not in choices:
        raise _wrong(name, f"One of: {', '.join(choices)}.")
    return given


def _wrong(name: str, message: str) -> InvalidInput:
    return InvalidInput(message, fields={name: message})


def whole_test(scope: Scope, test_id: int) -> dict[str, Any]:
    """Give a test with its conditions, points, readings and what they come to."""
    row = queries.test_row(scope, test_id)
    snapshot = test_snapshot(scope, test_id)
    result = evaluate(snapshot, scope.project.tolerances)
    facts = unit_facts(scope, [row["unit_id"]]) if snapshot.state != "superseded" else []
    findings = findings_of_test(scope, snapshot, facts[0] if facts else None)
    return {
        **row,
        "points": queries.point_rows(scope, test_id),
        "readings": queries.reading_rows(scope, test_id=test_id),
        "evaluation": evaluation_of(result, list(missing(result)), findings),
    }
