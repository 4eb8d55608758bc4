"""Instruments over the API."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from balancing.airflow.api.base import AirflowViewSet
from balancing.airflow.operations import instruments as operations
from balancing.airflow.queries import instruments as queries
from balancing.airflow.serializers import (
    INSTRUMENT_KINDS,
    CertificateIn,
    InstrumentIn,
    InstrumentOut,
    TestVersionIn,
)
from projectsite.accounts.access import Action
from projectsite.core.asking import choice_asked, sort_parameter, sorted_by
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import paged

_SORTS = tuple(queries.INSTRUMENT_SORTS)
_FILTERS = [
    OpenApiParameter("text", str, description="Part of name or serial number."),
    OpenApiParameter("kind", str, enum=INSTRUMENT_KINDS),
    OpenApiParameter("archived", str, enum=("true", "false")),
    sort_parameter(_SORTS),
]


class InstrumentViewSet(AirflowViewSet):
    """Instruments of a project."""

    @extend_schema(parameters=_FILTERS, responses=InstrumentOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the instruments that match."""
        scope = self.scope(request)
        wanted: dict[str, Any] = {
            "text": request.query_params.get("text", ""),
            "kind": choice_asked(request, "kind", INSTRUMENT_KINDS),
            "archived": choice_asked(request, "archived", ("true", "false")) == "true",
        }
        sort = sorted_by(request, _SORTS, "name")

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            return queries.list_instruments(scope, sort=sort, offset=start, limit=count, **wanted)

        return paged(self, request, queries.count_instruments(scope, **wanted), fetch)

    @extend_schema(request=InstrumentIn, responses={201: InstrumentOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add an instrument."""
        scope = self.scope(request, Action.EDIT_INSTRUMENTS)
        given = InstrumentIn(data=request.data)
        given.is_valid(raise_exception=True)
        instrument_id = operations.add_instrument(scope, values=given.values)
        row = queries.instrument_row(scope, instrument_id)
        return Response(row, status=status.HTTP_201_CREATED)

    @extend_schema(responses=InstrumentOut)
    def retrieve(self, request: Request, instrument_id: int, **_: Any) -> Response:
        """Give one instrument."""
        return Response(queries.instrument_row(self.scope(request), instrument_id))

    @extend_schema(request=InstrumentIn(partial=True), responses=InstrumentOut)
    def partial_update(self, request: Request, instrument_id: int, **_: Any) -> Response:
        """Change the fields that are sent; ``version`` says which state was seen."""
        scope = self.scope(request, Action.EDIT_INSTRUMENTS)
        given = InstrumentIn(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        if "version" not in given.validated_data:
            message = "Send the version that you saw, so that nothing is overwritten."
            raise InvalidInput(message, fields={"version": message})
        operations.change_instrument(
            scope,
            instrument_id=instrument_id,
            version=given.validated_data["version"],
            values=given.values,
        )
        return Response(queries.instrument_row(scope, instrument_id))

    @extend_schema(request=TestVersionIn, responses=InstrumentOut)
    def archive(self, request: Request, instrument_id: int, **_: Any) -> Response:
        """Take an instrument out of use; past tests keep it."""
        scope = self.scope(request, Action.EDIT_INSTRUMENTS)
        given = TestVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.archive_instrument(
            scope, instrument_id=instrument_id, at=timezone.now(), **given.validated_data
        )
        return Response(queries.instrument_row(scope, instrument_id))

    @extend_schema(request=TestVersionIn, responses=InstrumentOut)
    def restore(self, request: Request, instrument_id: int, **_: Any) -> Response:
        """Take an archived instrument into use again."""
        scope = self.scope(request, Action.EDIT_INSTRUMENTS)
        given = TestVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.restore_instrument(scope, instrument_id=instrument_id, **given.validated_data)
        return Response(queries.instrument_row(scope, instrument_id))


class CertificateViewSet(AirflowViewSet):
    """Certificates of instruments."""

    parser_classes = (MultiPartParser,)

    @extend_schema(
        operation_id="instruments_certificate_update",
        request=CertificateIn,
        responses=InstrumentOut,
    )
    def update(self, request: Request, instrument_id: int, **_: Any) -> Response:
        """Keep the certificate of an instrument's calibration."""
        scope = self.scope(request, Action.EDIT_INSTRUMENTS)
        given = CertificateIn(data=request.data)
        given.is_valid(raise_exception=True)
        file = given.validated_data["certificate"]
        content = file.read(operations.CERTIFICATE_LIMIT_BYTES + 1)
        operations.keep_certificate(scope, instrument_id=instrument_id, content=content)
        return Response(queries.instrument_row(scope, instrument_id))


_INSTRUMENTS = InstrumentViewSet.as_view
_AT = "instruments/<int:instrument_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "instruments/",
        _INSTRUMENTS({"get": "list", "post": "create"}),
        name="instrument-list",
    ),
    path(
        f"{_AT}/",
        _INSTRUMENTS({"get": "retrieve", "patch": "partial_update"}),
        name="instrument-detail",
    ),
    path(f"{_AT}/archive/", _INSTRUMENTS({"post": "archive"}), name="instrument-archive"),
    path(f"{_AT}/restore/", _INSTRUMENTS({"post": "restore"}), name="instrument-restore"),
    path(
        f"{_AT}/certificate/",
        CertificateViewSet.as_view({"put": "update"}),
        name="instrument-certificate",
    ),
]
