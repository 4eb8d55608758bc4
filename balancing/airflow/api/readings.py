"""Hood readings over the API: one or many, and sending again is harmless."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import status
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from balancing.airflow.api.base import AirflowViewSet
from balancing.airflow.operations import points as operations
from balancing.airflow.operations.points import Reading, Recorded, Refused
from balancing.airflow.queries import tests as queries
from balancing.airflow.serializers import (
    BatchOut,
    ReadingIn,
    ReadingOut,
    ReadingsIn,
)
from projectsite.accounts.access import Action
from projectsite.core.api_errors import handle
from projectsite.core.errors import ApplicationError, InvalidInput, NotFound
from projectsite.core.paging import paged
from projectsite.core.scope import Scope


class ReadingViewSet(AirflowViewSet):
    """Hood readings of a flow test."""

    @extend_schema(responses=ReadingOut(many=True))
    def list(self, request: Request, test_id: int, **_: Any) -> Response:
        """List the readings of a test."""
        scope = self.scope(request)
        queries.test_row(scope, test_id)
        rows = queries.reading_rows(scope, test_id=test_id)
        return paged(self, request, len(rows), lambda start, count: rows[start : start + count])

    @extend_schema(request=ReadingIn, responses={201: ReadingOut, 200: ReadingOut})
    def create(self, request: Request, test_id: int, **_: Any) -> Response:
        """Record a reading; the same ``client_key`` again answers 200 with what is stored."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = ReadingIn(data=request.data)
        given.is_valid(raise_exception=True)
        reading = ReadingIn.reading(given.validated_data)
        _require_point(scope, test_id, reading.point_id)
        recorded = operations.record_reading(scope, reading=reading)
        code = status.HTTP_201_CREATED if recorded.is_new else status.HTTP_200_OK
        return Response(_row(scope, recorded.reading_id), status=code)

    @extend_schema(responses=ReadingOut)
    def retrieve(self, request: Request, test_id: int, reading_id: int, **_: Any) -> Response:
        """Give one reading."""
        return Response(_row(self.scope(request), reading_id, test_id=test_id))

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, test_id: int, reading_id: int, **_: Any) -> Response:
        """Take out a reading of a test that is open or returned."""
        scope = self.scope(request, Action.ENTER_READINGS)
        _row(scope, reading_id, test_id=test_id)
        operations.delete_reading(scope, reading_id=reading_id)
        return Response(status=status.HTTP_204_NO_CONTENT)


def _require_point(scope: Scope, test_id: int, point_id: int) -> None:
    if all(row["id"] != point_id for row in queries.point_rows(scope, test_id)):
        raise NotFound("There is no such point in this flow test.")


def _row(scope: Scope, reading_id: int, *, test_id: int | None = None) -> dict[str, Any]:
    rows = queries.reading_rows(scope, reading_id=reading_id, test_id=test_id)
    if not rows:
        raise NotFound("There is no such reading in this flow test.")
    return rows[0]


_EXAMPLE = {
    "client_key": "0b7a4c1e-5c3b-4d0e-9a55-8f2a6f0e1c11",
    "point_id": 1,
    "outlet_id": 1,
    "repeat": 1,
    "flow_m3_s": "181 cfm",
    "taken_at": "2026-11-25T14:05:00Z",
}


class ReadingBatchViewSet(AirflowViewSet):
    """Many readings at once, as a device sends what it kept without a network."""

    @extend_schema(
        operation_id="flow_readings_send",
        request=ReadingsIn,
        responses=BatchOut,
        examples=[OpenApiExample("Readings", value={"readings": [_EXAMPLE]}, request_only=True)],
    )
    def create(self, request: Request, **_: Any) -> Response:
        """Record up to 50 readings, each by itself, and answer for each in order."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = ReadingsIn(data=request.data)
        given.is_valid(raise_exception=True)
        checked = [_checked(item) for item in given.validated_data["readings"]]
        good = [item for item in checked if isinstance(item, Reading)]
        recorded = iter(operations.record_readings(scope, readings=good) if good else [])
        answers = [next(recorded) if isinstance(item, Reading) else item for item in checked]
        return Response({"results": [_answer(scope, answer) for answer in answers]})


def _checked(item: dict[str, Any]) -> Reading | Refused:
    """Check one reading of a batch; what is wrong with it does not touch the others."""
    given = ReadingIn(data=item)
    try:
        given.is_valid(raise_exception=True)
    except ValidationError as error:
        told = handle(error, {})
        assert told is not None
        return Refused(InvalidInput(told.data["message"], fields=told.data["fields"]))
    return ReadingIn.reading(given.validated_data)


def _answer(scope: Scope, answer: Recorded | Refused) -> dict[str, Any]:
    if isinstance(answer, Recorded):
        code = status.HTTP_201_CREATED if answer.is_new else status.HTTP_200_OK
        return {"status": code, "reading": _row(scope, answer.reading_id), "refusal": None}
    return _refusal(answer.error)


def _refusal(error: ApplicationError) -> dict[str, Any]:
    told = handle(error, {})
    assert told is not None
    return {"status": told.status_code, "reading": None, "refusal": told.data}


_AT = "flow-tests/<int:test_id>/readings"
urlpatterns: list[URLPattern | URLResolver] = [
    path(f"{_AT}/", ReadingViewSet.as_view({"get": "list", "post": "create"}), name="reading-list"),
    path(
        f"{_AT}/<int:reading_id>/",
        ReadingViewSet.as_view({"get": "retrieve", "delete": "destroy"}),
        name="reading-detail",
    ),
    path("flow-readings/", ReadingBatchViewSet.as_view({"post": "create"}), name="reading-batch"),
]
