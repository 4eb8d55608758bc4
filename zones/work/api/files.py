"""The photos and files over the API."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.files.storage import default_storage
from django.http import FileResponse
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked, sorted_by, wrong
from projectsite.core.errors import NotFound
from projectsite.core.paging import NumberedPages, paged
from projectsite.core.scope import Scope
from zones.work.api.plans import AnyType
from zones.work.operations import files as operations
from zones.work.queries import files as queries
from zones.work.serializers.files import FileCaptionIn, FileIn, FileOut, file_given

_FILTERS = [
    OpenApiParameter("text", str, description="In tag, caption or file name."),
    OpenApiParameter("floor", str, description="Floor, exactly as written."),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    OpenApiParameter("file_kind", str, enum=["photo", "file"]),
    OpenApiParameter("person", int, description="Id of the person who added it."),
    OpenApiParameter("archived", bool, description="Archived files instead of those in use."),
    OpenApiParameter(
        "sort",
        str,
        description=f"One of {', '.join(queries.FILE_SORTS)}; with - in front downwards.",
    ),
]


class FileViewSet(ViewSet):
    """Photos and files of a project."""

    pagination_class = NumberedPages
    parser_classes = (JSONParser, MultiPartParser)

    def _scope(self, request: Request, action: Action = Action.SEE) -> Scope:
        return scope_for(request, self.kwargs["project_key"], action)

    @extend_schema(parameters=_FILTERS, responses=FileOut(many=True))
    def list(self, request: Request, **_: Any) -> Response:
        """List photos and files, the newest first."""
        scope = self._scope(request)
        sort = sorted_by(request, tuple(queries.FILE_SORTS), "-added")
        wanted = _wanted(request)

        def fetch(start: int, count: int) -> Sequence[queries.FileRow]:
            return queries.file_rows(scope, wanted, sort=sort, offset=start, limit=count)

        count = queries.count_files(scope, wanted)
        return paged(
            self, request, count, fetch, shown=lambda rows: [file_given(row) for row in rows]
        )

    @extend_schema(request={"multipart/form-data": FileIn}, responses={201: FileOut})
    def create(self, request: Request, **_: Any) -> Response:
        """Add a photo or a file; the same client key again gives the same file."""
        scope = self._scope(request, Action.ADD_FILE)
        given = FileIn(data=request.data)
        given.is_valid(raise_exception=True)
        values = dict(given.validated_data)
        file = values.pop("file")
        file_id = operations.add_file(
            scope, content=file.read(), file_name=file.name, at=timezone.now(), **values
        )
        return _one(scope, file_id, status.HTTP_201_CREATED)

    @extend_schema(responses=FileOut)
    def retrieve(self, request: Request, file_id: int, **_: Any) -> Response:
        """Give what is known of a file."""
        return _one(self._scope(request), file_id)

    @extend_schema(request=FileCaptionIn, responses=FileOut)
    def partial_update(self, request: Request, file_id: int, **_: Any) -> Response:
        """Describe a file anew."""
        scope = self._scope(request, Action.ADD_FILE)
        given = FileCaptionIn(data=request.data)
        given.is_valid(raise_exception=True)
        operations.change_caption(scope, file_id=file_id, **given.validated_data)
        return _one(scope, file_id)

    @extend_schema(request=None, responses=FileOut)
    def archive(self, request: Request, file_id: int, **_: Any) -> Response:
        """Take a file out of the lists."""
        scope = self._scope(request, Action.ADD_FILE)
        operations.archive_file(scope, file_id=file_id, at=timezone.now())
        return _one(scope, file_id)

    @extend_schema(request=None, responses=FileOut)
    def restore(self, request: Request, file_id: int, **_: Any) -> Response:
        """Put an archived file back into the lists."""
        scope = self._scope(request, Action.ADD_FILE)
        operations.restore_file(scope, file_id=file_id)
        return _one(scope, file_id)


def _one(scope: Scope, file_id: int, code: int = status.HTTP_200_OK) -> Response:
    return Response(file_given(queries.file_row(scope, file_id)), status=code)


def _wanted(request: Request) -> queries.FileFilter:
    asked = request.query_params
    kind = choice_asked(request, "file_kind", ("photo", "file"))
    archived = asked.get("archived", "").lower()
    if archived not in {"", "0", "1", "true", "false"}:
        raise wrong("archived", "Send true or false.")
    return queries.FileFilter(
        text=asked.get("text", ""),
        floor=asked.get("floor", ""),
        air_handler=number_asked(request, "air_handler"),
        kind=kind,
        person=number_asked(request, "person"),
        archived=archived in {"1", "true"},
    )


class FileContentViewSet(ViewSet):
    """The stored file itself."""

    content_negotiation_class = AnyType
    serializer_class = FileOut

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, project_key: str, file_id: int) -> FileResponse:
        """Give the file, to be saved."""
        scope = scope_for(request, project_key, Action.SEE)
        row = queries.file_row(scope, file_id)
        try:
            stored = default_storage.open(row.file)
        except FileNotFoundError as error:
            raise NotFound("The file is missing from the store; ask who runs this site.") from error
        response = FileResponse(
            stored, as_attachment=True, filename=row.file_name, content_type=row.media_type
        )
        response["Cache-Control"] = "private"
        response["X-Content-Type-Options"] = "nosniff"
        return response


_AT = "files/<int:file_id>"
urlpatterns: list[URLPattern | URLResolver] = [
    path("files/", FileViewSet.as_view({"get": "list", "post": "create"}), name="file-list"),
    path(
        f"{_AT}/",
        FileViewSet.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="file-detail",
    ),
    path(f"{_AT}/archive/", FileViewSet.as_view({"post": "archive"}), name="file-archive"),
    path(f"{_AT}/restore/", FileViewSet.as_view({"post": "restore"}), name="file-restore"),
    path(f"{_AT}/content/", FileContentViewSet.as_view({"get": "retrieve"}), name="file-content"),
]
