"""The checkouts over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked, orders
from projectsite.core.paging import NumberedPages, paged_list
from projectsite.core.scope import Scope
from zones.work.operations import checkouts as operations
from zones.work.queries import checkout_lines
from zones.work.queries import checkouts as queries
from zones.work.serializers.checkouts import (
    CHECKOUT_STATES,
    CheckoutAboutIn,
    CheckoutBeginIn,
    CheckoutLineOut,
    CheckoutOut,
    CheckoutVersionIn,
    ObservationIn,
    line_given,
    sheet_given,
)

_SORTS = orders(tuple(checkout_lines.SORTS))
_FILTERS = [
    OpenApiParameter("text", str, description="Part of the tag, location or list."),
    OpenApiParameter("floor", str),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("state", str, enum=CHECKOUT_STATES),
    OpenApiParameter("sort", str, enum=_SORTS, description="Order; - for downwards."),
]


def _wanted(request: Request) -> checkout_lines.CheckoutFilter:
    return checkout_lines.CheckoutFilter(
        request.query_params.get("text", ""),
        request.query_params.get("floor", ""),
        number_asked(request, "air_handler"),
        choice_asked(request, "state", CHECKOUT_STATES, ""),
    )


class CheckoutViewSet(ViewSet):
    """Checkouts of a project."""

    pagination_class = NumberedPages

    def _scope(self, request: Request, action: Action = Action.CHECK_OUT) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    def _sheet(self, scope: Scope, checkout_id: int, code: int = status.HTTP_200_OK) -> Response:
        return Response(sheet_given(scope, queries.sheet(scope, checkout_id)), status=code)

    @extend_schema(parameters=_FILTERS, responses=CheckoutLineOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the units in use with the state of their checkouts."""
        scope = self._scope(request, Action.SEE)
        sort = choice_asked(request, "sort", _SORTS, "walk")
        rows = checkout_lines.matching(checkout_lines.lines(scope), _wanted(request), sort=sort)
        return paged_list(self, request, rows, shown=lambda page: [line_given(row) for row in page])

    @extend_schema(request=CheckoutBeginIn, responses={201: CheckoutOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Begin a checkout from a list, or like another; one that the unit has is superseded."""
        scope = self._scope(request)
        given = CheckoutBeginIn(data=request.data)
        given.is_valid(raise_exception=True)
        made = operations.begin(
            scope,
            unit_id=given.validated_data["unit_id"],
            template_id=given.validated_data.get("list_id"),
            copy_from=given.validated_data.get("copy_from"),
            at=timezone.now(),
        )
        return self._sheet(scope, made, status.HTTP_201_CREATED)

    @extend_schema(responses=CheckoutOut)
    def retrieve(self, request: Request, checkout_id: int, **_: Any) -> Response:
        """Give one checkout, superseded or not."""
        return self._sheet(self._scope(request, Action.SEE), checkout_id)

    @extend_schema(request=CheckoutAboutIn, responses=CheckoutOut)
    def partial_update(self, request: Request, checkout_id: int, **_: Any) -> Response:
        """Say with which reference instrument it is done, or note something."""
        scope = self._scope(request)
        given = CheckoutAboutIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = dict(given.validated_data)
        version = values.pop("version")
        operations.describe(scope, checkout_id=checkout_id, version=version, values=values)
        return self._sheet(scope, checkout_id)

    @extend_schema(request=CheckoutVersionIn, responses=CheckoutOut)
    def complete(self, request: Request, checkout_id: int, **_: Any) -> Response:
        """Complete a checkout whose needed points all pass."""
        scope = self._scope(request)
        given = CheckoutVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.complete(
            scope, checkout_id=checkout_id, at=timezone.now(), **given.validated_data
        )
        return self._sheet(scope, checkout_id)

    @extend_schema(request=ObservationIn, responses=CheckoutOut)
    def observe(self, request: Request, point_id: int, **_: Any) -> Response:
        """Keep what was seen of a point; a failure opens a punch item."""
        scope = self._scope(request)
        sheet = queries.sheet_of_point(scope, point_id)
        given = ObservationIn(data=request.data)
        given.is_valid(raise_exception=True)
        quantity = next(p.facts.quantity for p in sheet.points if p.id == point_id)
        operations.observe(
            scope,
            point_id=point_id,
            version=given.validated_data["version"],
            seen=given.seen(quantity),
            at=timezone.now(),
        )
        return self._sheet(scope, sheet.id)


_VIEW = CheckoutViewSet.as_view
_AT = "checkouts/<int:checkout_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("checkouts/", _VIEW({"get": "list", "post": "create"}), name="checkout-list"),
    path(f"{_AT}/", _VIEW({"get": "retrieve", "patch": "partial_update"}), name="checkout-detail"),
    path(f"{_AT}/complete/", _VIEW({"post": "complete"}), name="checkout-complete"),
    path(
        "checkout-points/<int:point_id>/observe/",
        _VIEW({"post": "observe"}),
        name="checkout-observe",
    ),
]
