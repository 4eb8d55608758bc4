"""Flow tests over the API: list, begin, conditions, points, K, and their way to acceptance."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from balancing.airflow.api.base import AirflowViewSet, whole_test
from balancing.airflow.operations import acceptance, k_factor
from balancing.airflow.operations import points as point_operations
from balancing.airflow.operations import tests as operations
from balancing.airflow.queries import tests as queries
from balancing.airflow.serializers import (
    TEST_STATES,
    ConditionsIn,
    DecisionIn,
    KIn,
    NewTestIn,
    PointIn,
    PointOut,
    TestOut,
    TestRowOut,
    TestVersionIn,
)
from projectsite.accounts.access import Action
from projectsite.core.asking import choice_asked, number_asked, sort_parameter, sorted_by
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.paging import paged
from projectsite.core.scope import Scope

_SORTS = tuple(queries.TEST_SORTS)
_FILTERS = [
    OpenApiParameter("text", str, description="Part of tag, location, instrument or technician."),
    OpenApiParameter("state", str, enum=TEST_STATES),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("floor", str),
    OpenApiParameter("instrument", int, description="Id of an instrument."),
    OpenApiParameter("technician", int, description="Id of a person."),
    OpenApiParameter("unit", int, description="Id of a terminal unit."),
    sort_parameter(_SORTS),
]


def _filter(request: Request) -> queries.TestFilter:
    state = choice_asked(request, "state", TEST_STATES)
    return queries.TestFilter(
        text=request.query_params.get("text", ""),
        states=(state,) if state else (),
        air_handler=number_asked(request, "air_handler"),
        floor=request.query_params.get("floor") or None,
        instrument=number_asked(request, "instrument"),
        technician=number_asked(request, "technician"),
        unit=number_asked(request, "unit"),
    )


class FlowTestViewSet(AirflowViewSet):
    """Flow tests of terminal units."""

    @extend_schema(parameters=_FILTERS, responses=TestRowOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the tests that match."""
        scope, wanted = self.scope(request), _filter(request)
        sort = sorted_by(request, _SORTS, "tag")

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            return queries.list_tests(scope, wanted, sort=sort, offset=start, limit=count)

        return paged(self, request, queries.count_tests(scope, wanted), fetch)

    @extend_schema(request=NewTestIn, responses={201: TestOut, 200: TestOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Begin a test; the same ``client_key`` again answers 200 with the test it began."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = NewTestIn(data=request.data)
        given.is_valid(raise_exception=True)
        begun = operations.start_test(scope, at=timezone.now(), **given.validated_data)
        code = status.HTTP_201_CREATED if begun.is_new else status.HTTP_200_OK
        return Response(whole_test(scope, begun.test_id), status=code)

    @extend_schema(responses=TestOut)
    def retrieve(self, request: Request, test_id: int, **_: Any) -> Response:
        """Give one test with its readings and everything computed from them."""
        return Response(whole_test(self.scope(request), test_id))

    @extend_schema(request=ConditionsIn, responses=TestOut)
    def partial_update(self, request: Request, test_id: int, **_: Any) -> Response:
        """Save conditions; what is left out stays as it is."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = ConditionsIn(data=request.data)
        given.is_valid(raise_exception=True)
        version = given.validated_data["version"]
        operations.save_conditions(
            scope, test_id=test_id, version=version, conditions=given.conditions
        )
        return Response(whole_test(scope, test_id))

    @extend_schema(
        parameters=[OpenApiParameter("version", int, required=True)], responses={204: None}
    )
    def destroy(self, request: Request, test_id: int, **_: Any) -> Response:
        """Discard a test that is open or returned."""
        scope = self.scope(request, Action.ENTER_READINGS)
        version = number_asked(request, "version")
        if version is None:
            message = "Send the version that you saw."
            raise InvalidInput(message, fields={"version": message})
        operations.discard_test(scope, test_id=test_id, version=version)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=KIn, responses=TestOut)
    def k_factor(self, request: Request, test_id: int, **_: Any) -> Response:
        """Settle K as left."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = KIn(data=request.data)
        given.is_valid(raise_exception=True)
        _settle(scope, test_id, given.validated_data)
        return Response(whole_test(scope, test_id))

    @extend_schema(request=TestVersionIn, responses=TestOut)
    def submit(self, request: Request, test_id: int, **_: Any) -> Response:
        """Hand a test in."""
        scope = self.scope(request, Action.ENTER_READINGS)
        version = _version(request)
        acceptance.submit(scope, test_id=test_id, version=version, at=timezone.now())
        return Response(whole_test(scope, test_id))

    @extend_schema(request=TestVersionIn, responses=TestOut)
    def withdraw(self, request: Request, test_id: int, **_: Any) -> Response:
        """Take a handed-in test back."""
        scope = self.scope(request, Action.ENTER_READINGS)
        acceptance.withdraw(scope, test_id=test_id, version=_version(request))
        return Response(whole_test(scope, test_id))

    @extend_schema(request=TestVersionIn, responses=TestOut)
    def take_over(self, request: Request, test_id: int, **_: Any) -> Response:
        """Judge a running test by the schedule as it stands now."""
        scope = self.scope(request, Action.ENTER_READINGS)
        operations.take_over_schedule(scope, test_id=test_id, version=_version(request))
        return Response(whole_test(scope, test_id))

    @extend_schema(request=DecisionIn, responses=TestOut)
    def return_test(self, request: Request, test_id: int, **_: Any) -> Response:
        """Return a test to the balancer, with what is to be done."""
        scope = self.scope(request, Action.ACCEPT_TEST)
        given = DecisionIn(data=request.data)
        given.is_valid(raise_exception=True)
        decided: dict[str, Any] = dict(given.validated_data)
        acceptance.return_to_balancer(scope, test_id=test_id, at=timezone.now(), **decided)
        return Response(whole_test(scope, test_id))

    @extend_schema(request=DecisionIn, responses=TestOut)
    def accept(self, request: Request, test_id: int, **_: Any) -> Response:
        """Accept a test; grave findings need a note."""
        scope = self.scope(request, Action.ACCEPT_TEST)
        given = DecisionIn(data=request.data)
        given.is_valid(raise_exception=True)
        decided: dict[str, Any] = dict(given.validated_data)
        acceptance.accept(scope, test_id=test_id, at=timezone.now(), **decided)
        return Response(whole_test(scope, test_id))


def _version(request: Request) -> int:
    given = TestVersionIn(data=request.data)
    given.is_valid(raise_exception=True)
    return int(given.validated_data["version"])


def _settle(scope: Scope, test_id: int, given: dict[str, Any]) -> None:
    version, reason = given["version"], given["reason"]
    if given["method"] != "by-hand":
        k_factor.take_recommended_k(
            scope, test_id=test_id, version=version, method=given["method"], reason=reason
        )
        return
    if given.get("k_m3_s_sqrt_pa") is None:
        message = "K by hand needs k_m3_s_sqrt_pa."
        raise InvalidInput(message, fields={"k_m3_s_sqrt_pa": message})
    k_factor.set_k(
        scope, test_id=test_id, version=version, k=given["k_m3_s_sqrt_pa"], reason=reason
    )


class PointViewSet(AirflowViewSet):
    """Points of a flow test."""

    @extend_schema(responses=PointOut(many=True))
    def list(self, request: Request, test_id: int, **_: Any) -> Response:
        """List the points of a test."""
        scope = self.scope(request)
        queries.test_row(scope, test_id)
        rows = queries.point_rows(scope, test_id)
        return paged(self, request, len(rows), lambda start, count: rows[start : start + count])

    @extend_schema(responses=PointOut)
    def retrieve(self, request: Request, test_id: int, point_id: int, **_: Any) -> Response:
        """Give one point as stored."""
        return Response(_point(self.scope(request), test_id, point_id))

    @extend_schema(request=PointIn, responses=PointOut)
    def partial_update(self, request: Request, test_id: int, point_id: int, **_: Any) -> Response:
        """Save what was read at a point; what is left out stays as it is."""
        scope = self.scope(request, Action.ENTER_READINGS)
        given = PointIn(data=request.data)
        given.is_valid(raise_exception=True)
        _point(scope, test_id, point_id)
        point_operations.save_point(
            scope,
            point_id=point_id,
            version=given.validated_data["version"],
            values=given.values,
            at=timezone.now(),
        )
        return Response(_point(scope, test_id, point_id))


def _point(scope: Scope, test_id: int, point_id: int) -> dict[str, Any]:
    for row in queries.point_rows(scope, test_id):
        if row["id"] == point_id:
            return row
    raise NotFound("There is no such point in this flow test.")


_TESTS = FlowTestViewSet.as_view
_AT = "flow-tests/<int:test_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("flow-tests/", _TESTS({"get": "list", "post": "create"}), name="test-list"),
    path(
        f"{_AT}/",
        _TESTS({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="test-detail",
    ),
    path(f"{_AT}/k-factor/", _TESTS({"post": "k_factor"}), name="test-k-factor"),
    path(f"{_AT}/submit/", _TESTS({"post": "submit"}), name="test-submit"),
    path(f"{_AT}/withdraw/", _TESTS({"post": "withdraw"}), name="test-withdraw"),
    path(f"{_AT}/take-over-schedule/", _TESTS({"post": "take_over"}), name="test-take-over"),
    path(f"{_AT}/return/", _TESTS({"post": "return_test"}), name="test-return"),
    path(f"{_AT}/accept/", _TESTS({"post": "accept"}), name="test-accept"),
    path(f"{_AT}/points/", PointViewSet.as_view({"get": "list"}), name="point-list"),
    path(
        f"{_AT}/points/<int:point_id>/",
        PointViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="point-detail",
    ),
]
