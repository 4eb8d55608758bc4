"""The catalogue of steps over the API."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, orders
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import NumberedPages, paged_list
from projectsite.core.scope import Scope
from zones.work.operations import catalogue as operations
from zones.work.queries import catalogue as queries
from zones.work.queries.catalogue import StepFilter, StepRow
from zones.work.serializers.steps import (
    TRADES,
    CatalogueStepIn,
    CatalogueStepOut,
    StarterStepsOut,
    StepMoveIn,
    StepVersionIn,
)

_SORTS = orders(tuple(queries.SORTS))
_YES_NO = ("true", "false")
_FILTERS = [
    OpenApiParameter("text", str, description="Part of the name."),
    OpenApiParameter("trade", str, enum=TRADES),
    OpenApiParameter("archived", str, enum=_YES_NO),
    OpenApiParameter("sort", str, enum=_SORTS, description="Order; - for downwards."),
]


def _plain(row: StepRow) -> dict[str, Any]:
    values = asdict(row)
    del values["before_names"]
    return values


class StepViewSet(ViewSet):
    """Steps of a project."""

    pagination_class = NumberedPages

    def _scope(self, request: Request, action: Action = Action.PLAN_WORK) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    def _one(self, scope: Scope, step_id: int, code: int = status.HTTP_200_OK) -> Response:
        return Response(_plain(queries.step_row(scope, step_id)), status=code)

    @extend_schema(parameters=_FILTERS, responses=CatalogueStepOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the steps that match, in their order."""
        scope = self._scope(request, Action.SEE)
        wanted = StepFilter(
            request.query_params.get("text", ""),
            choice_asked(request, "trade", TRADES, ""),
            choice_asked(request, "archived", _YES_NO, "false") == "true",
        )
        sort = choice_asked(request, "sort", _SORTS, "place")
        rows = [
            _plain(row) for row in queries.matching(queries.all_steps(scope), wanted, sort=sort)
        ]
        return paged_list(self, request, rows)

    @extend_schema(request=CatalogueStepIn, responses={201: CatalogueStepOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a step at the end of the catalogue."""
        scope = self._scope(request)
        given = CatalogueStepIn(data=request.data)
        given.is_valid(raise_exception=True)
        step_id = operations.add_step(scope, values=given.values)
        return self._one(scope, step_id, status.HTTP_201_CREATED)

    @extend_schema(responses=CatalogueStepOut)
    def retrieve(self, request: Request, step_id: int, **_: Any) -> Response:
        """Give one step, archived or not."""
        return self._one(self._scope(request, Action.SEE), step_id)

    @extend_schema(request=CatalogueStepIn(partial=True), responses=CatalogueStepOut)
    def partial_update(self, request: Request, step_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self._scope(request)
        given = CatalogueStepIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        if "version" not in given.validated_data:
            message = "Send the version that you saw, so that nothing is overwritten."
            raise InvalidInput(message, fields={"version": message})
        version = given.validated_data["version"]
        operations.change_step(scope, step_id=step_id, version=version, values=given.values)
        return self._one(scope, step_id)

    @extend_schema(request=StepVersionIn, responses=CatalogueStepOut)
    def archive(self, request: Request, step_id: int, **_: Any) -> Response:
        """Take a step out of use; what was said of it stays."""
        scope = self._scope(request)
        given = StepVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.archive_step(scope, step_id=step_id, at=timezone.now(), **given.validated_data)
        return self._one(scope, step_id)

    @extend_schema(request=StepVersionIn, responses=CatalogueStepOut)
    def restore(self, request: Request, step_id: int, **_: Any) -> Response:
        """Take an archived step into use again."""
        scope = self._scope(request)
        given = StepVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.restore_step(scope, step_id=step_id, **given.validated_data)
        return self._one(scope, step_id)

    @extend_schema(request=StepMoveIn, responses=CatalogueStepOut)
    def move(self, request: Request, step_id: int, **_: Any) -> Response:
        """Put a step at another place of the catalogue."""
        scope = self._scope(request)
        given = StepMoveIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.move_step(scope, step_id=step_id, to=given.validated_data["to"])
        return self._one(scope, step_id)

    @extend_schema(
        operation_id="steps_starter_create", request=None, responses={201: StarterStepsOut}
    )
    def starter(self, request: Request, **_: Any) -> Response:
        """Take the usual steps into a project without any."""
        count = operations.load_starter_catalogue(self._scope(request))
        return Response({"steps": count}, status=status.HTTP_201_CREATED)


_STEPS = StepViewSet.as_view
_AT = "steps/<int:step_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("steps/", _STEPS({"get": "list", "post": "create"}), name="step-list"),
    path("steps/starter/", _STEPS({"post": "starter"}), name="step-starter"),
    path(f"{_AT}/", _STEPS({"get": "retrieve", "patch": "partial_update"}), name="step-detail"),
    path(f"{_AT}/archive/", _STEPS({"post": "archive"}), name="step-archive"),
    path(f"{_AT}/restore/", _STEPS({"post": "restore"}), name="step-restore"),
    path(f"{_AT}/move/", _STEPS({"post": "move"}), name="step-move"),
]
