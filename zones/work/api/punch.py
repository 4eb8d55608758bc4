"""Punch items over the API."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import uuid4

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import sort_parameter, sorted_by
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import NumberedPages, paged
from projectsite.core.scope import Scope
from zones.work.forms.punch import PunchFilterForm
from zones.work.imports import punch as imports
from zones.work.operations import punch as operations
from zones.work.queries import punch as queries
from zones.work.serializers.punch import (
    PunchChangeIn,
    PunchDetailOut,
    PunchFileIn,
    PunchFileOut,
    PunchIn,
    PunchOut,
    PunchSayIn,
)

_FILTERS = [
    OpenApiParameter("q", str, description="Number, part of a tag, or words."),
    OpenApiParameter("state", str, enum=["unverified", "open", "answered", "verified"]),
    OpenApiParameter("trade", str, description="Trade that owes it."),
    OpenApiParameter("severity", str),
    OpenApiParameter("kind", str, description="Kind of what it is about."),
    OpenApiParameter("floor", str),
    OpenApiParameter("air_handler", int),
    OpenApiParameter("due_before", str, description="A date."),
    OpenApiParameter("unit", int),
    OpenApiParameter("person", int, description="Who is to do it; for the office."),
    sort_parameter(tuple(queries.PUNCH_SORTS)),
]


def _given(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    found: dict[str, Any] = serializer.validated_data
    return found


class PunchViewSet(ViewSet):
    """Punch items of a project."""

    pagination_class = NumberedPages

    def _scope(self, request: Request, action: Action = Action.SEE) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    @extend_schema(parameters=_FILTERS, responses=PunchOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the items that match."""
        scope = self._scope(request)
        form = PunchFilterForm(request.query_params, scope=scope)
        wanted = form.wanted()
        if form.errors:
            fields = {name: str(errors[0]) for name, errors in form.errors.items()}
            raise InvalidInput("A filter can't be understood.", fields=fields)
        sort = sorted_by(request, tuple(queries.PUNCH_SORTS), "number")

        def fetch(start: int, count: int) -> list[Any]:
            return queries.punch_rows(scope, wanted, sort=sort, offset=start, limit=count)

        count = queries.count_punch(scope, wanted)
        return paged(self, request, count, fetch, shown=lambda rows: PunchOut(rows, many=True).data)

    @extend_schema(request=PunchIn, responses={201: PunchDetailOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Open an item."""
        scope = self._scope(request, Action.OPEN_PUNCH)
        found = operations.open_item(scope, at=timezone.now(), **_given(PunchIn(data=request.data)))
        return Response(_whole(scope, found), status=status.HTTP_201_CREATED)

    @extend_schema(responses=PunchDetailOut)
    def retrieve(self, request: Request, item_id: int, **_: Any) -> Response:
        """Give one item with what happened to it."""
        return Response(_whole(self._scope(request), item_id))

    @extend_schema(request=PunchChangeIn, responses=PunchDetailOut)
    def partial_update(self, request: Request, item_id: int, **_: Any) -> Response:
        """Change an open item."""
        scope = self._scope(request, Action.OPEN_PUNCH)
        values = _given(PunchChangeIn(data=request.data))
        version = values.pop("version")
        operations.change_item(
            scope, item_id=item_id, version=version, values=values, at=timezone.now()
        )
        return Response(_whole(scope, item_id))

    @extend_schema(request=PunchSayIn, responses=PunchDetailOut)
    def answer(self, request: Request, item_id: int, **_: Any) -> Response:
        """Say what was done; the item then waits to be verified."""
        scope = self._scope(request, Action.ANSWER_PUNCH)
        given = _given(PunchSayIn(data=request.data))
        operations.answer_item(scope, item_id=item_id, at=timezone.now(), **given)
        return Response(_whole(scope, item_id))

    @extend_schema(request=PunchSayIn, responses=PunchDetailOut)
    def verify(self, request: Request, item_id: int, **_: Any) -> Response:
        """Verify an item; it is closed then."""
        scope = self._scope(request, Action.VERIFY_PUNCH)
        given = _given(PunchSayIn(data=request.data))
        operations.verify_item(scope, item_id=item_id, at=timezone.now(), **given)
        return Response(_whole(scope, item_id))

    @extend_schema(request=PunchSayIn, responses=PunchDetailOut)
    def reopen(self, request: Request, item_id: int, **_: Any) -> Response:
        """Open an item again, and say why."""
        scope = self._scope(request, Action.VERIFY_PUNCH)
        given = _given(PunchSayIn(data=request.data))
        operations.reopen_item(scope, item_id=item_id, at=timezone.now(), **given)
        return Response(_whole(scope, item_id))


class PunchFileViewSet(ViewSet):
    """Files of punch items."""

    parser_classes = (MultiPartParser,)

    @extend_schema(
        operation_id="projects_punch_items_import",
        request={"multipart/form-data": PunchFileIn},
        responses=PunchFileOut,
    )
    def create(self, request: Request, project_key: str) -> Response:
        """Look at a file, and open its good rows when ``take`` says so."""
        scope = scope_for(request, project_key, Action.PLAN_WORK)
        given = _given(PunchFileIn(data=request.data))
        found = imports.read(scope, given["file"].read())
        opened = 0
        if given["take"]:
            opened = operations.open_items(
                scope, given=found.good, client_key=uuid4(), at=timezone.now()
            )
        return Response(
            {
                "good": len(found.good),
                "known": found.known,
                "wrong": found.wrong,
                "opened": opened,
            }
        )


def _whole(scope: Scope, item_id: int) -> dict[str, Any]:
    detail = queries.punch_detail(scope, item_id)
    row: dict[str, Any] = dict(PunchOut(detail.row).data)
    return {**row, "story": [asdict(step) for step in detail.story]}


_ITEMS = PunchViewSet.as_view
_AT = "punch-items/<int:item_id>/"
urlpatterns: list[URLPattern | URLResolver] = [
    path("punch-items/", _ITEMS({"get": "list", "post": "create"}), name="punch-list"),
    path("punch-items/import/", PunchFileViewSet.as_view({"post": "create"}), name="punch-import"),
    path(_AT, _ITEMS({"get": "retrieve", "patch": "partial_update"}), name="punch-detail"),
    path(f"{_AT}answer/", _ITEMS({"post": "answer"}), name="punch-answer"),
    path(f"{_AT}verify/", _ITEMS({"post": "verify"}), name="punch-verify"),
    path(f"{_AT}reopen/", _ITEMS({"post": "reopen"}), name="punch-reopen"),
]
