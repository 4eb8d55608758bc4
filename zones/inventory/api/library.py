"""The library over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core.paging import paged_list
from projectsite.core.scope import Scope
from zones.inventory import operations, queries
from zones.inventory.api.base import InventoryViewSet, described
from zones.inventory.domain.fields import BOX_MODEL_FIELDS, CONTROLLER_FIELDS, INLET_FIELDS
from zones.inventory.domain.types import BoxModelFacts, ControllerModelFacts
from zones.inventory.filters import ARCHIVED
from zones.inventory.serializers import (
    BoxModelIn,
    BoxModelOut,
    ControllerModelIn,
    ControllerModelOut,
    InletIn,
    StarterOut,
    accepted,
)


def _box_model(model: BoxModelFacts) -> dict[str, Any]:
    return {
        "id": model.id,
        "name": model.name,
        "note": model.note,
        "inlets": [
            {"id": inlet.id, **{f.name: getattr(inlet, f.name) for f in INLET_FIELDS}}
            for inlet in model.inlets
        ],
        "units": model.units,
        "is_archived": model.is_archived,
        "version": model.version,
    }


def _controller(model: ControllerModelFacts) -> dict[str, Any]:
    limits = model.limits
    return {
        "id": model.id,
        "name": model.name,
        "readable_pressure_pa": limits.readable_pressure_pa,
        "span_pa": limits.span_pa,
        "accuracy_fraction": limits.accuracy_fraction,
        "accuracy_floor_pa": limits.accuracy_floor_pa,
        "note": model.note,
        "units": model.units,
        "is_archived": model.is_archived,
        "version": model.version,
    }


class BoxModelViewSet(InventoryViewSet):
    """Box models, shared by all projects; their use is counted in this one."""

    def _one(self, scope: Scope, box_model_id: int, code: int = status.HTTP_200_OK) -> Response:
        return Response(_box_model(queries.box_model(scope, box_model_id)), status=code)

    @extend_schema(parameters=described(ARCHIVED), responses=BoxModelOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the box models by name, each with its inlets."""
        scope = self.scope(request)
        archived = self.asked(request, ARCHIVED).is_on("archived")
        rows = queries.box_models(scope, archived=archived)
        return paged_list(self, request, [_box_model(row) for row in rows])

    @extend_schema(request=BoxModelIn, responses={201: BoxModelOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a box model."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = BoxModelIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(BOX_MODEL_FIELDS, given.validated_data)
        return self._one(scope, operations.add_box_model(scope, values=values), 201)

    @extend_schema(responses=BoxModelOut)
    def retrieve(self, request: Request, box_model_id: int, **_: Any) -> Response:
        """Give one box model."""
        return self._one(self.scope(request), box_model_id)

    @extend_schema(request=BoxModelIn(partial=True), responses=BoxModelOut)
    def partial_update(self, request: Request, box_model_id: int, **_: Any) -> Response:
        """Change name or note."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = BoxModelIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_box_model(
            scope,
            box_model_id=box_model_id,
            version=self.version_in(given.validated_data),
            values=accepted(BOX_MODEL_FIELDS, given.validated_data),
        )
        return self._one(scope, box_model_id)

    @extend_schema(request=None, responses=BoxModelOut)
    def archive(self, request: Request, box_model_id: int, **_: Any) -> Response:
        """No longer offer a box model."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        operations.archive_box_model(scope, box_model_id=box_model_id, at=timezone.now())
        return self._one(scope, box_model_id)

    @extend_schema(request=None, responses=BoxModelOut)
    def restore(self, request: Request, box_model_id: int, **_: Any) -> Response:
        """Offer an archived box model again."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        operations.restore_box_model(scope, box_model_id=box_model_id)
        return self._one(scope, box_model_id)

    @extend_schema(request=InletIn, responses={201: BoxModelOut})
    def add_inlet(self, request: Request, box_model_id: int, **_: Any) -> Response:
        """Add an inlet size; the answer is the box model."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = InletIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(INLET_FIELDS, given.validated_data)
        operations.add_inlet(scope, box_model_id=box_model_id, values=values)
        return self._one(scope, box_model_id, 201)

    @extend_schema(request=InletIn(partial=True), responses=BoxModelOut)
    def change_inlet(self, request: Request, inlet_id: int, **_: Any) -> Response:
        """Change an inlet; ``version`` is that of its box model, which is the answer."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = InletIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        data = given.validated_data
        values, version = accepted(INLET_FIELDS, data), self.version_in(data)
        operations.change_inlet(scope, inlet_id=inlet_id, version=version, values=values)
        return Response(_box_model(queries.box_model_of_inlet(scope, inlet_id)))

    @extend_schema(request=None, responses={204: None})
    def remove_inlet(self, request: Request, inlet_id: int, **_: Any) -> Response:
        """Remove an inlet that no unit has."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        operations.remove_inlet(scope, inlet_id=inlet_id)
        return Response(status=status.HTTP_204_NO_CONTENT)


class ControllerModelViewSet(InventoryViewSet):
    """Controller models, shared by all projects; their use is counted in this one."""

    def _one(self, scope: Scope, model_id: int, code: int = status.HTTP_200_OK) -> Response:
        return Response(_controller(queries.controller_model(scope, model_id)), status=code)

    @extend_schema(parameters=described(ARCHIVED), responses=ControllerModelOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the controller models by name."""
        scope = self.scope(request)
        archived = self.asked(request, ARCHIVED).is_on("archived")
        rows = queries.controller_models(scope, archived=archived)
        return paged_list(self, request, [_controller(row) for row in rows])

    @extend_schema(request=ControllerModelIn, responses={201: ControllerModelOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a controller model."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = ControllerModelIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(CONTROLLER_FIELDS, given.validated_data)
        return self._one(scope, operations.add_controller_model(scope, values=values), 201)

    @extend_schema(responses=ControllerModelOut)
    def retrieve(self, request: Request, controller_model_id: int, **_: Any) -> Response:
        """Give one controller model."""
        return self._one(self.scope(request), controller_model_id)

    @extend_schema(request=ControllerModelIn(partial=True), responses=ControllerModelOut)
    def partial_update(self, request: Request, controller_model_id: int, **_: Any) -> Response:
        """Change the fields that are sent."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        given = ControllerModelIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_controller_model(
            scope,
            controller_model_id=controller_model_id,
            version=self.version_in(given.validated_data),
            values=accepted(CONTROLLER_FIELDS, given.validated_data),
        )
        return self._one(scope, controller_model_id)

    @extend_schema(request=None, responses=ControllerModelOut)
    def archive(self, request: Request, controller_model_id: int, **_: Any) -> Response:
        """No longer offer a controller model."""
        scope, found = self.scope(request, Action.EDIT_LIBRARY), controller_model_id
        operations.archive_controller_model(scope, controller_model_id=found, at=timezone.now())
        return self._one(scope, found)

    @extend_schema(request=None, responses=ControllerModelOut)
    def restore(self, request: Request, controller_model_id: int, **_: Any) -> Response:
        """Offer an archived controller model again."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        operations.restore_controller_model(scope, controller_model_id=controller_model_id)
        return self._one(scope, controller_model_id)


class StarterLibraryViewSet(InventoryViewSet):
    """The generic starter library."""

    @extend_schema(request=None, responses=StarterOut)
    def create(self, request: Request, **_: Any) -> Response:
        """Add what is not there by name already."""
        scope = self.scope(request, Action.EDIT_LIBRARY)
        added = operations.load_starter_library(scope)
        return Response(
            {
                "box_models": added.box_models,
                "inlets": added.inlets,
                "controller_models": added.controller_models,
            }
        )


_LIST: Any = {"get": "list", "post": "create"}
_ONE: Any = {"get": "retrieve", "patch": "partial_update"}
_BOX, _CONTROLLER = "library/box-models", "library/controller-models"
urlpatterns: list[URLPattern | URLResolver] = [
    path(f"{_BOX}/", BoxModelViewSet.as_view(_LIST), name="box-model-list"),
    path(f"{_BOX}/<int:box_model_id>/", BoxModelViewSet.as_view(_ONE), name="box-model-detail"),
    path(
        f"{_BOX}/<int:box_model_id>/archive/",
        BoxModelViewSet.as_view({"post": "archive"}),
        name="box-model-archive",
    ),
    path(
        f"{_BOX}/<int:box_model_id>/restore/",
        BoxModelViewSet.as_view({"post": "restore"}),
        name="box-model-restore",
    ),
    path(
        f"{_BOX}/<int:box_model_id>/inlets/",
        BoxModelViewSet.as_view({"post": "add_inlet"}),
        name="inlet-add",
    ),
    path(
        "library/inlets/<int:inlet_id>/",
        BoxModelViewSet.as_view({"patch": "change_inlet", "delete": "remove_inlet"}),
        name="inlet-detail",
    ),
    path(f"{_CONTROLLER}/", ControllerModelViewSet.as_view(_LIST), name="controller-list"),
    path(
        f"{_CONTROLLER}/<int:controller_model_id>/",
        ControllerModelViewSet.as_view(_ONE),
        name="controller-detail",
    ),
    path(
        f"{_CONTROLLER}/<int:controller_model_id>/archive/",
        ControllerModelViewSet.as_view({"post": "archive"}),
        name="controller-archive",
    ),
    path(
        f"{_CONTROLLER}/<int:controller_model_id>/restore/",
        ControllerModelViewSet.as_view({"post": "restore"}),
        name="controller-restore",
    ),
    path(
        "library/starter/",
        StarterLibraryViewSet.as_view({"post": "create"}),
        name="library-starter",
    ),
]
