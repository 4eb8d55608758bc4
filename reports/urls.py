"""Addresses of documents, below a project."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from reports import api, views

app_name = "reports"

_ONE = "documents/<int:document_id>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("documents/", views.documents, name="documents"),
    path("documents/panel/", views.project_panel, name="project-panel"),
    path("documents/new/", views.document_new, name="document-new"),
    path("labels/", views.labels, name="labels"),
    path(_ONE, views.document, name="document"),
    path(f"{_ONE}progress/", views.document_progress, name="document-progress"),
    path(f"{_ONE}issue/", views.document_issue, name="document-issue"),
    path(f"{_ONE}cancel/", views.document_cancel, name="document-cancel"),
    path(f"{_ONE}retry/", views.document_retry, name="document-retry"),
    path(f"{_ONE}discard/", views.document_discard, name="document-discard"),
    path(f"{_ONE}download/", views.document_download, name="document-download"),
    path(f"{_ONE}compare/<int:other_id>/", views.document_compare, name="document-compare"),
    path(
        "air-handlers/<int:air_handler_id>/documents/",
        views.air_handler_documents,
        name="air-handler-documents",
    ),
    path("units/<int:unit_id>/documents/", views.unit_documents, name="unit-documents"),
    path("units/<int:unit_id>/documents/draft/", views.unit_draft, name="unit-draft"),
]

_documents = api.DocumentsApi.as_view

api_urlpatterns: list[URLPattern | URLResolver] = [
    path("documents/", _documents({"get": "list", "post": "create"}), name="document-list"),
    path(_ONE, _documents({"get": "retrieve", "delete": "destroy"}), name="document-detail"),
    path(f"{_ONE}issue/", _documents({"post": "issue"}), name="document-issue"),
    path(f"{_ONE}cancel/", _documents({"post": "cancel"}), name="document-cancel"),
    path(f"{_ONE}retry/", _documents({"post": "retry"}), name="document-retry"),
    path(f"{_ONE}dossier/", _documents({"get": "dossier"}), name="document-dossier"),
    path(
        f"{_ONE}compare/<int:other_id>/",
        _documents({"get": "compare"}),
        name="document-compare",
    ),
    path(
        f"{_ONE}download/",
        api.DocumentFileApi.as_view({"get": "retrieve"}),
        name="document-download",
    ),
]
