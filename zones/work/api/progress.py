"""The progress over the API."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked
from zones.work.domain.progress import Shape
from zones.work.queries.progress import ProgressFilter, progress_of
from zones.work.serializers.progress import TRADES, ProgressOut, progress_data

_SHAPES = ("s", "even")
_FILTERS = [
    OpenApiParameter("floor", str),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("trade", str, enum=TRADES, description="Steps of this trade only."),
    OpenApiParameter(
        "shape",
        str,
        enum=_SHAPES,
        description="How a planned period runs: slow at both ends, 3x² - 2x³, or evenly.",
    ),
]


class ProgressViewSet(ViewSet):
    """How the work stands, against the plan and by its own pace."""

    @extend_schema(parameters=_FILTERS, responses=ProgressOut)
    def retrieve(self, request: Request, **_: Any) -> Response:
        """Give counts, earned and planned hours by week, the forecast, and what holds up what."""
        scope = scope_for(request, self.kwargs["project_key"], Action.SEE)
        today = timezone.now().astimezone(ZoneInfo(scope.project.time_zone)).date()
        wanted, shape = _asked(request)
        return Response(progress_data(progress_of(scope, today=today, wanted=wanted, shape=shape)))


def _asked(request: Request) -> tuple[ProgressFilter, Shape]:
    wanted = ProgressFilter(
        request.query_params.get("floor", ""),
        number_asked(request, "air_handler"),
        choice_asked(request, "trade", TRADES),
    )
    shape = choice_asked(request, "shape", _SHAPES)
    return wanted, "even" if shape == "even" else "s"


urlpatterns: list[URLPattern | URLResolver] = [
    path("work/progress/", ProgressViewSet.as_view({"get": "retrieve"}), name="progress"),
]
