"""API of projects."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from projectsite.accounts.access import Action, person_of, scope_for
from projectsite.accounts.domain.types import ProjectSettings
from projectsite.accounts.operations import projects as operations
from projectsite.accounts.queries import project_record, projects_of
from projectsite.accounts.serializers import (
    NewProjectSerializer,
    ProjectPatchSerializer,
    ProjectRowSerializer,
    ProjectSerializer,
)
from projectsite.core.scope import Scope
from projectsite.core.units import Entered


class ProjectsApi(GenericViewSet[Any]):
    """Projects that the caller is a member of."""

    serializer_class = ProjectRowSerializer

    @extend_schema(operation_id="projects_list", responses=ProjectRowSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Projects of the caller, those in work first."""
        rows = self.paginate_queryset(projects_of(person_of(request)))
        return self.get_paginated_response(ProjectRowSerializer(rows, many=True).data)

    @extend_schema(request=NewProjectSerializer, responses={201: ProjectSerializer})
    def create(self, request: Request) -> Response:
        """Make a project; the caller becomes its office."""
        given = NewProjectSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        values = plain(given.validated_data)
        key = operations.create_project(person_of(request), at=timezone.now(), **values)
        scope = scope_for(request, key, Action.SEE)
        return Response(_data(scope), status=status.HTTP_201_CREATED)


class ProjectApi(GenericViewSet[Any]):
    """One project."""

    serializer_class = ProjectSerializer

    def retrieve(self, request: Request, project_key: str) -> Response:
        """The project with its settings and the caller's role."""
        return Response(_data(scope_for(request, project_key, Action.SEE)))

    @extend_schema(request=ProjectPatchSerializer, responses=ProjectSerializer)
    def partial_update(self, request: Request, project_key: str) -> Response:
        """Change settings; 409 when someone else changed the project since ``version``."""
        scope = scope_for(request, project_key, Action.EDIT_PROJECT)
        given = ProjectPatchSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        stored = asdict(project_record(scope).settings)
        wanted = ProjectSettings(**{**stored, **plain(given.validated_data["settings"])})
        operations.update_project(scope, version=given.validated_data["version"], settings=wanted)
        return Response(_data(scope_for(request, project_key, Action.SEE)))


def plain(values: dict[str, Any]) -> dict[str, Any]:
    """Give quantities as SI numbers."""
    return {
        name: value.value if isinstance(value, Entered) else value for name, value in values.items()
    }


def _data(scope: Scope) -> Any:
    record = project_record(scope)
    return ProjectSerializer(
        {
            "key": record.key,
            "version": record.version,
            "created_at": record.created_at,
            "role": scope.role,
            "actions": sorted(scope.actions),
            "settings": record.settings,
        }
    ).data
