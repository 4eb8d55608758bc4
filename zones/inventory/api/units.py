"""Terminal units over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core import findings
from projectsite.core.asking import sorted_by
from projectsite.core.errors import InvalidInput
from projectsite.core.findings import Finding
from zones.inventory import operations, queries
from zones.inventory.api.base import InventoryViewSet, described, paged_once
from zones.inventory.domain.fields import UNIT_FIELDS
from zones.inventory.domain.types import Change
from zones.inventory.filters import UNIT_PARAMETERS, unit_filter
from zones.inventory.serializers import (
    ActSerializer,
    ChangeOut,
    DoneOut,
    FindingOut,
    UnitIn,
    UnitOut,
    VersionIn,
    accepted,
)

_SORTS = queries.UNIT_SORTS


class UnitViewSet(InventoryViewSet):
    """Terminal units of a project, as scheduled."""

    @extend_schema(parameters=described(UNIT_PARAMETERS, _SORTS), responses=UnitOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the units that match."""
        scope = self.scope(request)
        wanted = unit_filter(self.asked(request, UNIT_PARAMETERS))
        sort = sorted_by(request, _SORTS, "tag")

        return paged_once(
            request,
            lambda start, count: queries.page_of_units(
                scope, wanted, sort=sort, offset=start, limit=count
            ),
        )

    @extend_schema(request=UnitIn, responses={201: UnitOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a unit."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = UnitIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = accepted(UNIT_FIELDS, given.validated_data)
        unit_id = operations.add_unit(scope, values=values)
        return Response(queries.unit_row(scope, unit_id), status=status.HTTP_201_CREATED)

    @extend_schema(responses=UnitOut)
    def retrieve(self, request: Request, unit_id: int, **_: Any) -> Response:
        """Give one unit, archived or not."""
        return Response(queries.unit_row(self.scope(request), unit_id))

    @extend_schema(request=UnitIn(partial=True), responses=UnitOut)
    def partial_update(self, request: Request, unit_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = UnitIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        operations.change_unit(
            scope,
            unit_id=unit_id,
            version=self.version_in(given.validated_data),
            values=accepted(UNIT_FIELDS, given.validated_data),
        )
        return Response(queries.unit_row(scope, unit_id))

    @extend_schema(request=VersionIn, responses=UnitOut)
    def archive(self, request: Request, unit_id: int, **_: Any) -> Response:
        """Take a unit out of use with its outlets."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        version = self.optional_version(request)
        operations.archive_unit(scope, unit_id=unit_id, version=version, at=timezone.now())
        return Response(queries.unit_row(scope, unit_id))

    @extend_schema(request=None, responses=UnitOut)
    def restore(self, request: Request, unit_id: int, **_: Any) -> Response:
        """Take an archived unit into use again."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        operations.restore_unit(scope, unit_id=unit_id)
        return Response(queries.unit_row(scope, unit_id))

    @extend_schema(responses=FindingOut(many=True))
    def findings(self, request: Request, unit_id: int, **_: Any) -> Response:
        """What every concern finds about a unit, the gravest first."""
        scope = self.scope(request)
        queries.unit_row(scope, unit_id)
        found = findings.collect(scope, [unit_id])
        return Response([_finding(finding) for finding in found])

    @extend_schema(responses=ChangeOut(many=True))
    def changes(self, request: Request, unit_id: int, **_: Any) -> Response:
        """Change log of a unit and its outlets, the newest first."""
        scope = self.scope(request)
        queries.unit_row(scope, unit_id)
        return Response([_change(line) for line in queries.unit_log(scope, unit_id)])


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity.name.lower(),
        "subject": finding.subject.label,
        "subject_kind": finding.subject.kind,
        "subject_id": finding.subject.id,
        "message": finding.message,
        "action": finding.action,
        "reference": finding.reference,
        "values": dict(finding.values),
    }


def _change(line: Change) -> dict[str, Any]:
    return {
        "at": line.at,
        "who": line.who,
        "where": line.where,
        "what": line.what,
        "record": line.record,
        "field": line.field,
        "old": line.old,
        "new": line.new,
    }


class UnitActViewSet(InventoryViewSet):
    """Acts on many units at once."""

    @extend_schema(request=ActSerializer, responses=DoneOut)
    def create(self, request: Request, **_: Any) -> Response:
        """Set one field on many units, archive or restore them."""
        scope = self.scope(request, Action.EDIT_INVENTORY)
        given = ActSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        asked = given.validated_data
        if asked["act"] == "archive":
            done = operations.archive_units(scope, unit_ids=asked["ids"], at=timezone.now())
        elif asked["act"] == "restore":
            done = operations.restore_units(scope, unit_ids=asked["ids"])
        else:
            done = operations.set_on_units(scope, unit_ids=asked["ids"], **_to_set(asked))
        return Response({"changed": done})


def _to_set(asked: dict[str, Any]) -> dict[str, Any]:
    field = asked.get("field")
    key = "text" if field == "floor" else "value_id"
    if field is None or key not in asked:
        name = key if field else "field"
        raise InvalidInput(f"Send {name} to set a field.", fields={name: "This is needed."})
    return {"field": field, "value": asked[key]}


_AT = "units/<int:unit_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("units/", UnitViewSet.as_view({"get": "list", "post": "create"}), name="unit-list"),
    path(
        f"{_AT}/",
        UnitViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="unit-detail",
    ),
    path(f"{_AT}/archive/", UnitViewSet.as_view({"post": "archive"}), name="unit-archive"),
    path(f"{_AT}/restore/", UnitViewSet.as_view({"post": "restore"}), name="unit-restore"),
    path(f"{_AT}/findings/", UnitViewSet.as_view({"get": "findings"}), name="unit-findings"),
    path(f"{_AT}/changes/", UnitViewSet.as_view({"get": "changes"}), name="unit-changes"),
    path("units/act/", UnitActViewSet.as_view({"post": "create"}), name="unit-act"),
]
