"""The checkout lists over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.paging import NumberedPages
from projectsite.core.scope import Scope
from zones.work.operations import checkout_lists as operations
from zones.work.queries import checkout_lists as queries
from zones.work.serializers.checkouts import (
    CheckoutListIn,
    CheckoutListOut,
    CheckoutVersionIn,
    ListPointIn,
    ListPointMoveIn,
    list_given,
)


class CheckoutListViewSet(ViewSet):
    """Checkout lists of a project and their points."""

    pagination_class = NumberedPages

    def _scope(self, request: Request, action: Action = Action.PLAN_WORK) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    def _one(self, scope: Scope, list_id: int, code: int = status.HTTP_200_OK) -> Response:
        return Response(list_given(queries.checkout_list(scope, list_id)), status=code)

    def _given(
        self, kind: type[serializers.Serializer[Any]], request: Request, *, partial: bool = False
    ) -> tuple[int, dict[str, Any]]:
        """Version and the other values that were sent."""
        given = kind(data=request.data, partial=partial)
        given.is_valid(raise_exception=True)
        values = dict(given.validated_data)
        # Without a version none matches: a change must say which state was seen.
        return values.pop("version", 0), values

    @extend_schema(responses=CheckoutListOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the checkout lists by name, archived ones included."""
        scope = self._scope(request, Action.SEE)
        pages = NumberedPages()
        rows = [list_given(row) for row in queries.checkout_lists(scope)]
        shown: Any = pages.paginate_queryset(rows, request, self)
        return pages.get_paginated_response(shown)

    @extend_schema(request=CheckoutListIn, responses={201: CheckoutListOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a checkout list without points."""
        scope = self._scope(request)
        _version, values = self._given(CheckoutListIn, request)
        made = operations.add_list(scope, values=values)  # type: ignore[arg-type]  # checked by the serializer
        return self._one(scope, made, status.HTTP_201_CREATED)

    @extend_schema(
        operation_id="checkout_lists_starter_create",
        request=None,
        responses={201: CheckoutListOut},
    )
    def starter(self, request: Request, **_: Any) -> Response:
        """Take the usual checkout list into a project without any."""
        scope = self._scope(request)
        return self._one(scope, operations.load_starter(scope), status.HTTP_201_CREATED)

    @extend_schema(responses=CheckoutListOut)
    def retrieve(self, request: Request, list_id: int, **_: Any) -> Response:
        """Give one checkout list, archived or not."""
        return self._one(self._scope(request, Action.SEE), list_id)

    @extend_schema(request=CheckoutListIn(partial=True), responses=CheckoutListOut)
    def partial_update(self, request: Request, list_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self._scope(request)
        version, values = self._given(CheckoutListIn, request, partial=True)
        operations.change_list(scope, list_id=list_id, version=version, values=values)  # type: ignore[arg-type]  # checked by the serializer
        return self._one(scope, list_id)

    @extend_schema(request=CheckoutVersionIn, responses=CheckoutListOut)
    def archive(self, request: Request, list_id: int, **_: Any) -> Response:
        """Take a checkout list out of use."""
        scope = self._scope(request)
        version, _values = self._given(CheckoutVersionIn, request)
        operations.archive_list(scope, list_id=list_id, version=version, at=timezone.now())
        return self._one(scope, list_id)

    @extend_schema(request=CheckoutVersionIn, responses=CheckoutListOut)
    def restore(self, request: Request, list_id: int, **_: Any) -> Response:
        """Take an archived checkout list into use again."""
        scope = self._scope(request)
        version, _values = self._given(CheckoutVersionIn, request)
        operations.restore_list(scope, list_id=list_id, version=version)
        return self._one(scope, list_id)

    @extend_schema(request=ListPointIn, responses={201: CheckoutListOut})
    def add_point(self, request: Request, list_id: int, **_: Any) -> Response:
        """Add a point at the end of a checkout list."""
        scope = self._scope(request)
        version, values = self._given(ListPointIn, request)
        operations.add_point(scope, list_id=list_id, version=version, values=values)  # type: ignore[arg-type]  # checked by the serializer
        return self._one(scope, list_id, status.HTTP_201_CREATED)

    @extend_schema(request=ListPointIn(partial=True), responses=CheckoutListOut)
    def change_point(self, request: Request, list_id: int, point_id: int, **_: Any) -> Response:
        """Change the fields of a point that are sent."""
        scope = self._scope(request)
        version, values = self._given(ListPointIn, request, partial=True)
        operations.change_point(
            scope,
            list_id=list_id,
            point_id=point_id,
            version=version,
            values=values,  # type: ignore[arg-type]  # checked by the serializer
        )
        return self._one(scope, list_id)

    @extend_schema(request=CheckoutVersionIn, responses=CheckoutListOut)
    def remove_point(self, request: Request, list_id: int, point_id: int, **_: Any) -> Response:
        """Remove a point; begun checkouts keep theirs."""
        scope = self._scope(request)
        version, _values = self._given(CheckoutVersionIn, request)
        operations.remove_point(scope, list_id=list_id, point_id=point_id, version=version)
        return self._one(scope, list_id)

    @extend_schema(request=ListPointMoveIn, responses=CheckoutListOut)
    def move_point(self, request: Request, list_id: int, point_id: int, **_: Any) -> Response:
        """Put a point at another place of its list."""
        scope = self._scope(request)
        version, values = self._given(ListPointMoveIn, request)
        operations.move_point(scope, list_id=list_id, point_id=point_id, version=version, **values)
        return self._one(scope, list_id)


_LISTS = CheckoutListViewSet.as_view
_AT = "checkout-lists/<int:list_id>"
_POINT = f"{_AT}/points/<int:point_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("checkout-lists/", _LISTS({"get": "list", "post": "create"}), name="checkout-lists"),
    path("checkout-lists/starter/", _LISTS({"post": "starter"}), name="checkout-list-starter"),
    path(
        f"{_AT}/",
        _LISTS({"get": "retrieve", "patch": "partial_update"}),
        name="checkout-list-detail",
    ),
    path(f"{_AT}/archive/", _LISTS({"post": "archive"}), name="checkout-list-archive"),
    path(f"{_AT}/restore/", _LISTS({"post": "restore"}), name="checkout-list-restore"),
    path(f"{_AT}/points/", _LISTS({"post": "add_point"}), name="checkout-list-points"),
    path(f"{_POINT}/", _LISTS({"patch": "change_point"}), name="checkout-list-point"),
    path(f"{_POINT}/move/", _LISTS({"post": "move_point"}), name="checkout-list-point-move"),
    path(f"{_POINT}/remove/", _LISTS({"post": "remove_point"}), name="checkout-list-point-remove"),
]
