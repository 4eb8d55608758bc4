"""The floor plans over the API."""

from __future__ import annotations

import mimetypes
from typing import Any

from django.core.files.storage import default_storage
from django.http import FileResponse
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import NumberedPages, paged_list
from projectsite.core.scope import Scope
from zones.work.operations import plans as operations
from zones.work.queries import plans as queries
from zones.work.serializers.plans import (
    PlanIn,
    PlanOut,
    PlanScaleIn,
    PlanSheetOut,
    PlanVersionIn,
    plan_given,
    sheet_given,
)

_ARCHIVED = OpenApiParameter("archived", bool, description="Archived plans instead of those used.")
_FLOOR = OpenApiParameter("floor", str, description="Floor, exactly as written.")
_SHOW = OpenApiParameter(
    "show", str, description="What the marks show: progress, findings, punch or step-<key>."
)


class PlanViewSet(ViewSet):
    """Plans of the floors of a project."""

    pagination_class = NumberedPages
    parser_classes = (JSONParser, MultiPartParser)

    def _scope(self, request: Request, action: Action = Action.SEE) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    @extend_schema(parameters=[_ARCHIVED, _FLOOR], responses=PlanOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the plans in use, or the archived ones."""
        scope = self._scope(request)
        archived = _yes(request.query_params.get("archived", ""))
        floor = request.query_params.get("floor")
        plans = [
            plan_given(plan)
            for plan in queries.list_plans(scope, archived=archived)
            if floor in (None, plan.floor)
        ]
        return paged_list(self, request, plans)

    @extend_schema(request={"multipart/form-data": PlanIn}, responses={201: PlanSheetOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add the plan of a floor; the one before is archived."""
        scope = self._scope(request, Action.PLAN_WORK)
        given = PlanIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = dict(given.validated_data)
        file = values.pop("file")
        if file.size > operations.MAX_PLAN_BYTES:
            message = f"At most {operations.MAX_PLAN_BYTES // 1024**2} MB are accepted."
            raise InvalidInput(message, fields={"file": message})
        plan_id = operations.add_plan(
            scope, content=file.read(), file_name=file.name, at=timezone.now(), **values
        )
        return _sheet(scope, plan_id, code=status.HTTP_201_CREATED)

    @extend_schema(parameters=[_SHOW], responses=PlanSheetOut)
    def retrieve(self, request: Request, plan_id: int, **_: Any) -> Response:
        """Give a plan with its units and what the marks show."""
        return _sheet(self._scope(request), plan_id, request.query_params.get("show", ""))

    @extend_schema(request=PlanScaleIn, responses=PlanSheetOut)
    def partial_update(self, request: Request, plan_id: int, **_: Any) -> Response:
        """Set the scale, the origin or both; all of it or nothing."""
        scope = self._scope(request, Action.PLAN_WORK)
        given = PlanScaleIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.fit_plan(scope, plan_id=plan_id, **_fit(given.validated_data))
        return _sheet(scope, plan_id)

    @extend_schema(request=PlanVersionIn, responses=PlanSheetOut)
    def archive(self, request: Request, plan_id: int, **_: Any) -> Response:
        """Take a plan out of use; the units keep their positions."""
        scope = self._scope(request, Action.PLAN_WORK)
        given = PlanVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        version = given.validated_data.get("version")
        operations.archive_plan(scope, plan_id=plan_id, version=version, at=timezone.now())
        return _sheet(scope, plan_id)

    @extend_schema(request=None, responses=PlanSheetOut)
    def restore(self, request: Request, plan_id: int, **_: Any) -> Response:
        """Take an archived plan into use again."""
        scope = self._scope(request, Action.PLAN_WORK)
        operations.restore_plan(scope, plan_id=plan_id)
        return _sheet(scope, plan_id)


def _yes(text: str) -> bool:
    if text.lower() not in {"", "0", "1", "true", "false"}:
        raise InvalidInput("Send true or false.", fields={"archived": "Send true or false."})
    return text.lower() in {"1", "true"}


def _fit(given: dict[str, Any]) -> dict[str, Any]:
    """What the operation takes, out of validated input."""
    found: dict[str, Any] = {"version": given["version"]}
    if "distance_m" in given:
        first = (given["first_x_px"], given["first_y_px"])
        second = (given["second_x_px"], given["second_y_px"])
        found["scale"] = (first, second, given["distance_m"])
    if "origin_x_px" in given:
        found["origin_px"] = (given["origin_x_px"], given["origin_y_px"])
    return found


def _sheet(scope: Scope, plan_id: int, view: str = "", code: int = status.HTTP_200_OK) -> Response:
    return Response(sheet_given(queries.plan_sheet(scope, plan_id, view)), status=code)


class AnyType(BaseContentNegotiation):
    """A picture is given whatever the client says it accepts; refusals are JSON."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        """Take the first parser."""
        del request
        return parsers[0]

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> Any:
        """Take the first renderer."""
        del request, format_suffix
        return renderers[0], renderers[0].media_type


class PlanImageViewSet(ViewSet):
    """The picture of a plan."""

    content_negotiation_class = AnyType
    serializer_class = PlanOut

    @extend_schema(responses={(200, "image/*"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, project_key: str, plan_id: int) -> FileResponse:
        """Give the picture that the points lie on."""
        scope = scope_for(request, project_key, Action.SEE)
        image = queries.plan_facts(scope, plan_id).image
        kind = mimetypes.guess_type(image)[0] or "application/octet-stream"
        return FileResponse(default_storage.open(image), content_type=kind)


_AT = "plans/<int:plan_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("plans/", PlanViewSet.as_view({"get": "list", "post": "create"}), name="plan-list"),
    path(
        f"{_AT}/",
        PlanViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="plan-detail",
    ),
    path(f"{_AT}/archive/", PlanViewSet.as_view({"post": "archive"}), name="plan-archive"),
    path(f"{_AT}/restore/", PlanViewSet.as_view({"post": "restore"}), name="plan-restore"),
    path(f"{_AT}/image/", PlanImageViewSet.as_view({"get": "retrieve"}), name="plan-image"),
]
