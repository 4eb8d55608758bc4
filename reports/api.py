"""API of documents."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.http import FileResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import status
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.core.asking import choice_asked, number_asked, sort_parameter, sorted_by
from projectsite.core.paging import paged
from reports import operations, queries
from reports.queries import DocumentFilter, Subject
from reports.queries.documents import dossier_of
from reports.queries.dossiers import KIND_TITLES
from reports.serializers import (
    ComparisonSerializer,
    DocumentSerializer,
    IssueSerializer,
    NewDocumentSerializer,
)

_FILTERS = [
    OpenApiParameter("q", str, description="Part of the title or note."),
    OpenApiParameter("kind", str, enum=list(KIND_TITLES)),
    OpenApiParameter("state", str, enum=["draft", "issued"]),
    OpenApiParameter("unit", int, description="Id of a terminal unit."),
    OpenApiParameter("air_handler", int, description="Id of an air handler."),
    sort_parameter(tuple(queries.DOCUMENT_SORTS)),
]


class PdfRenderer(BaseRenderer):
    """Lets a client ask for a PDF; the file itself is sent as it is."""

    media_type = "application/pdf"
    format = "pdf"

    def render(
        self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None
    ) -> Any:
        """Give what a refusal says as text."""
        del accepted_media_type, renderer_context
        return str(data).encode()


class DocumentsApi(GenericViewSet[Any]):
    """Documents of a project: drafts of own kinds, and what was issued."""

    serializer_class = DocumentSerializer

    @extend_schema(
        operation_id="projects_documents_list",
        parameters=_FILTERS,
        responses=DocumentSerializer(many=True),
    )
    def list(self, request: Request, project_key: str) -> Response:
        """Documents, the newest first unless sorted otherwise."""
        scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
        wanted = DocumentFilter(
            text=request.query_params.get("q", ""),
            kind=choice_asked(request, "kind", [*KIND_TITLES]),
            state=choice_asked(request, "state", ["draft", "issued"]),
            unit=number_asked(request, "unit"),
            air_handler=number_asked(request, "air_handler"),
        )
        sort = sorted_by(request, tuple(queries.DOCUMENT_SORTS), "-created")

        def fetch(start: int, count: int) -> list[queries.DocumentRow]:
            return queries.documents(scope, wanted, sort=sort, offset=start, limit=count)

        count = queries.count_documents(scope, wanted)
        return paged(
            self, request, count, fetch, shown=lambda rows: DocumentSerializer(rows, many=True).data
        )

    @extend_schema(request=NewDocumentSerializer, responses={201: DocumentSerializer})
    def create(self, request: Request, project_key: str) -> Response:
        """Draft a document from the record as it stands; it is made by the job worker."""
        scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
        asked = NewDocumentSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        data = asked.validated_data
        found = operations.draft_document(
            scope,
            kind=data["kind"],
            subject=Subject(
                data.get("unit"),
                data.get("air_handler"),
                floor=data["floor"],
                trade=data["trade"],
                view=data["view"],
                label_sheet=data["label_sheet"],
                labels_used=data["labels_used"],
            ),
            note=data["note"],
            address=settings.PUBLIC_ADDRESS,
            at=timezone.now(),
        )
        shown = DocumentSerializer(queries.document(scope, found)).data
        return Response(shown, status=status.HTTP_201_CREATED)

    def retrieve(self, request: Request, project_key: str, document_id: int) -> Response:
        """One document and how far it is."""
        scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
        return Response(DocumentSerializer(queries.document(scope, document_id)).data)

    @extend_schema(responses={204: OpenApiResponse(description="The draft is gone.")})
    def destroy(self, request: Request, project_key: str, document_id: int) -> Response:
        """Remove a draft; an issued document stays."""
        scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
        operations.discard_draft(scope, document_id=document_id)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=IssueSerializer, responses=DocumentSerializer)
    def issue(self, request: Request, project_key: str, document_id: int) -> Response:
        """Issue a draft from the record as it stands now; number and figures are then fixed."""
        scope = scope_for(request, project_key, Action.ISSUE_DOCUMENT)
        asked = IssueSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        operations.issue_document(
            scope,
            document_id=document_id,
            note=asked.validated_data.get("note"),
            address=settings.PUBLIC_ADDRESS,
            at=timezone.now(),
        )
        return Response(DocumentSerializer(queries.document(scope, document_id)).data)

    @extend_schema(request=None, responses=DocumentSerializer)
    def cancel(self, request: Request, project_key: str, document_id: int) -> Response:
        """Stop a document that waits or is being made."""
        scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
        operations.cancel_rendering(scope, document_id=document_id)
        return Response(DocumentSerializer(queries.document(scope, document_id)).data)

    @extend_schema(request=None, responses=DocumentSerializer)
    def retry(self, request: Request, project_key: str, document_id: int) -> Response:
        """Make a document again after it failed or was stopped."""
        scope = scope_for(request, project_key, Action.DRAFT_TEST_SHEET)
        operations.retry_rendering(scope, document_id=document_id)
        return Response(DocumentSerializer(queries.document(scope, document_id)).data)

    @extend_schema(responses={200: OpenApiTypes.OBJECT})
    def dossier(self, request: Request, project_key: str, document_id: int) -> Response:
        """Every figure that the document shows, in SI, as it was frozen."""
        scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
        return Response(dossier_of(scope, document_id).to_json())

    @extend_schema(responses=ComparisonSerializer)
    def compare(
        self, request: Request, project_key: str, document_id: int, other_id: int
    ) -> Response:
        """Which figures changed between two issues of one subject."""
        scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
        old, new, changes = queries.comparison(scope, document_id, other_id)
        shown = ComparisonSerializer({"old": old, "new": new, "differences": changes})
        return Response(shown.data)


class DocumentFileApi(GenericViewSet[Any]):
    """The file of a document."""

    serializer_class = DocumentSerializer

    def get_renderers(self) -> list[Any]:
        """Offer PDF besides JSON, so that a client may ask for it by its type."""
        return [*super().get_renderers(), PdfRenderer()]

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, project_key: str, document_id: int) -> FileResponse:
        """Give the PDF; who took a copy is noted."""
        scope = scope_for(request, project_key, Action.DOWNLOAD_ISSUED)
        name, shown = operations.record_download(scope, document_id=document_id, at=timezone.now())
        return FileResponse(
            default_storage.open(name), filename=shown, content_type="application/pdf"
        )
