"""Schedule imports over the API: the same steps as the pages."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.http import HttpResponse
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from projectsite.accounts.access import Action
from projectsite.core import units
from projectsite.core.errors import InvalidInput
from projectsite.core.paging import paged, paged_list
from projectsite.core.quantities import KINDS
from projectsite.core.scope import Scope
from projectsite.core.workbook.types import MAX_FILE_BYTES
from zones.inventory.api.base import InventoryViewSet
from zones.inventory.domain.schedule.types import TARGETS
from zones.inventory.imports import work
from zones.inventory.imports.book import kind_of
from zones.inventory.operations import imports as operations
from zones.inventory.queries import imports as queries
from zones.inventory.serializers.imports import (
    AppliedOut,
    ApplyIn,
    DifferenceOut,
    ImportIn,
    ImportOut,
    ImportVersionIn,
    LayoutIn,
    MappingIn,
    MissingOut,
    RowOut,
    as_given,
)

OFFICE = Action.IMPORT_SCHEDULE
_OUTCOMES = list(queries.OUTCOMES)
_REVISIONS = [
    OpenApiParameter(name, int, required=True, description="Number of a revision, 0 for the first.")
    for name in ("first", "second")
]


class ImportViewSet(InventoryViewSet):
    """Schedule imports of a project."""

    parser_classes = (JSONParser, MultiPartParser)

    def _one(self, scope: Scope, import_id: int, code: int = status.HTTP_200_OK) -> Response:
        found = queries.import_facts(scope, import_id)
        same = queries.same_files(scope, found.sha256, besides=import_id)
        return Response(as_given(found, [other.id for other in same]), status=code)

    @extend_schema(responses=ImportOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List the imports, the newest first."""
        scope = self.scope(request)

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            return [
                as_given(found) for found in queries.list_imports(scope, offset=start, limit=count)
            ]

        return paged(self, request, queries.count_imports(scope), fetch)

    @extend_schema(request={"multipart/form-data": ImportIn}, responses={201: ImportOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Take a file in and propose how to read it; nothing is written to the record."""
        scope = self.scope(request, OFFICE)
        given = ImportIn(data=request.data)
        given.is_valid(raise_exception=True)
        file = given.validated_data["file"]
        if file.size > MAX_FILE_BYTES:
            message = f"At most {MAX_FILE_BYTES // 1024**2} MB are accepted."
            raise InvalidInput(message, fields={"file": message})
        import_id = work.receive(
            scope,
            name=file.name,
            content=file.read(),
            target=given.validated_data["target"],
            label=given.validated_data["label"],
            at=timezone.now(),
        )
        return self._one(scope, import_id, status.HTTP_201_CREATED)

    @extend_schema(responses=ImportOut)
    def retrieve(self, request: Request, import_id: int, **_: Any) -> Response:
        """Give one import; ask again while its work is in hand."""
        return self._one(self.scope(request), import_id)

    @extend_schema(request=LayoutIn, responses=ImportOut)
    def layout(self, request: Request, import_id: int, **_: Any) -> Response:
        """Read another sheet or other rows, and propose anew."""
        scope = self.scope(request, OFFICE)
        given = LayoutIn(data=request.data)
        given.is_valid(raise_exception=True)
        wanted = dict(given.validated_data)
        known = queries.import_facts(scope, import_id)
        wanted.setdefault("sheet", known.sheet)
        work.start(scope, import_id, task="propose", words="Reading the file", wanted=wanted)
        return self._one(scope, import_id)

    @extend_schema(request=MappingIn, responses=ImportOut)
    def mapping(self, request: Request, import_id: int, **_: Any) -> Response:
        """Say what each column is, and make the preview."""
        scope = self.scope(request, OFFICE)
        given = MappingIn(data=request.data)
        given.is_valid(raise_exception=True)
        found = queries.import_facts(scope, import_id)
        operations.store_mapping(
            scope,
            import_id=import_id,
            version=given.validated_data["version"],
            layout=work.layout_of(found),
            columns=_columns(found, given.validated_data["columns"]),
            box_model_id=given.validated_data["box_model_id"],
            is_na_empty=given.validated_data["is_na_empty"],
        )
        work.start(scope, import_id, task="preview", words="Reading the file")
        return self._one(scope, import_id)

    @extend_schema(
        parameters=[
            OpenApiParameter("outcome", str, enum=_OUTCOMES),
            OpenApiParameter("text", str, description="Part of the tag."),
            OpenApiParameter("reopening", bool, description="Only rows that reopen something."),
        ],
        responses=RowOut(many=True),
    )
    def rows(self, request: Request, import_id: int, **_: Any) -> Response:
        """List the rows of the file with their outcome, in the order of the file."""
        scope = self.scope(request)
        queries.import_facts(scope, import_id)
        outcome = request.query_params.get("outcome", "")
        if outcome and outcome not in queries.OUTCOMES:
            message = f"Use one of: {', '.join(queries.OUTCOMES)}."
            raise InvalidInput(message, fields={"outcome": message})
        wanted = queries.RowFilter(
            outcome,
            request.query_params.get("text", "")[:60],
            request.query_params.get("reopening", "") in {"true", "1"},
        )

        def fetch(start: int, count: int) -> list[dict[str, Any]]:
            return queries.list_rows(scope, import_id, wanted, offset=start, limit=count)

        return paged(self, request, queries.count_rows(scope, import_id, wanted), fetch)

    @extend_schema(responses=MissingOut(many=True))
    def missing(self, request: Request, import_id: int, **_: Any) -> Response:
        """List the units that the record has and the file does not name; they are left alone."""
        scope = self.scope(request)
        queries.import_facts(scope, import_id)
        rows = [{"id": key, "tag": tag} for key, tag in queries.missing_units(scope, import_id)]
        return paged_list(self, request, rows)

    @extend_schema(request=ApplyIn, responses=AppliedOut)
    def apply(self, request: Request, import_id: int, **_: Any) -> Response:
        """Write the good rows, or all rows or none."""
        scope = self.scope(request, OFFICE)
        given = ApplyIn(data=request.data)
        given.is_valid(raise_exception=True)
        done = work.apply_or_renew(
            scope,
            import_id=import_id,
            version=given.validated_data["version"],
            is_whole=given.validated_data["rows"] == "whole",
            at=timezone.now(),
        )
        return Response(asdict(done))

    @extend_schema(request=ImportVersionIn, responses=ImportOut)
    def drop(self, request: Request, import_id: int, **_: Any) -> Response:
        """Put an import aside."""
        scope = self.scope(request, OFFICE)
        given = ImportVersionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.drop_import(scope, import_id=import_id, version=given.validated_data["version"])
        return self._one(scope, import_id)

    @extend_schema(request=None, responses=ImportOut)
    def stop(self, request: Request, import_id: int, **_: Any) -> Response:
        """Stop the reading of a file."""
        scope = self.scope(request, OFFICE)
        operations.stop_work(scope, import_id=import_id)
        return self._one(scope, import_id)

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def file(self, request: Request, import_id: int, **_: Any) -> HttpResponse:
        """Give the file as it was received."""
        scope = self.scope(request, OFFICE)
        content = queries.import_file(scope, import_id)[1]
        response = HttpResponse(content, content_type="application/octet-stream")
        response["Content-Disposition"] = f'attachment; filename="schedule-{import_id}"'
        return response

    @extend_schema(parameters=_REVISIONS, responses=DifferenceOut(many=True))
    def compare(self, request: Request, **_: Any) -> Response:
        """Compare two applied revisions, unit by unit and field by field."""
        scope = self.scope(request)
        numbers = []
        for name in ("first", "second"):
            text = request.query_params.get(name, "")
            if not (text.isascii() and text.isdecimal() and len(text) < 7):
                message = "Give the number of a revision, 0 for the first."
                raise InvalidInput(message, fields={name: message})
            numbers.append(int(text))
        found = queries.compare_revisions(scope, *numbers)
        return paged_list(self, request, [asdict(line) for line in found.lines])


def _columns(
    found: queries.ImportFacts, given: list[dict[str, Any]]
) -> list[operations.MappedColumn]:
    """Columns as sent, with their headings and with units by the name we keep."""
    fields = {f.name: f for f in TARGETS[found.target]}
    headings = {c["index"]: c["heading"] for c in found.proposal.get("columns", [])}
    listed = []
    for number, column in enumerate(given):
        if column["column"] not in headings:
            message = f"The file has no column {column['column']}."
            raise InvalidInput(message, fields={f"columns.{number}.column": message})
        field = fields.get(column["field"])
        kind = kind_of(field) if field else ""
        unit = ""
        if kind:
            if not column["unit"]:
                message = f"Say the unit of {field.label.lower() if field else 'this column'}."
                raise InvalidInput(message, fields={f"columns.{number}.unit": message})
            unit = _unit(column["unit"], kind, number)
        listed.append(
            operations.MappedColumn(
                column["column"], headings[column["column"]], column["field"], unit
            )
        )
    named = {column.column for column in listed}
    listed += [
        operations.MappedColumn(j, text, "") for j, text in headings.items() if j not in named
    ]
    return listed


def _unit(spelling: str, kind: str, number: int) -> str:
    if spelling in KINDS[kind].units:
        return spelling
    try:
        return units.unit_named(spelling, kind)
    except InvalidInput as error:
        raise InvalidInput(
            error.message, fields={f"columns.{number}.unit": error.message}
        ) from error


def _view(**methods: Any) -> Any:
    return ImportViewSet.as_view(methods)


urlpatterns: list[URLPattern | URLResolver] = [
    path("imports/", _view(get="list", post="create"), name="imports"),
    path("imports/compare/", _view(get="compare"), name="import-compare"),
    path("imports/<int:import_id>/", _view(get="retrieve"), name="import"),
    path("imports/<int:import_id>/layout/", _view(post="layout"), name="import-layout"),
    path("imports/<int:import_id>/mapping/", _view(post="mapping"), name="import-mapping"),
    path("imports/<int:import_id>/rows/", _view(get="rows"), name="import-rows"),
    path("imports/<int:import_id>/missing/", _view(get="missing"), name="import-missing"),
    path("imports/<int:import_id>/apply/", _view(post="apply"), name="import-apply"),
    path("imports/<int:import_id>/drop/", _view(post="drop"), name="import-drop"),
    path("imports/<int:import_id>/stop/", _view(post="stop"), name="import-stop"),
    path("imports/<int:import_id>/file/", _view(get="file"), name="import-file"),
]
