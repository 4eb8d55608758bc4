"""API of the people of a project and of its one-time links."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from projectsite.accounts.access import Action, scope_for
from projectsite.accounts.domain.codes import Code, new_link_code
from projectsite.accounts.domain.links import address_of
from projectsite.accounts.operations import people as operations
from projectsite.accounts.queries import links_of, member_of, members_of
from projectsite.accounts.serializers import (
    InviteSerializer,
    LinkSerializer,
    MemberSerializer,
    NewLinkSerializer,
    RoleSerializer,
)


def _shown(link_id: int, code: Code) -> Response:
    data = NewLinkSerializer({"id": link_id, "address": address_of(code)}).data
    headers = {"Cache-Control": "no-store"}
    return Response(data, status=status.HTTP_201_CREATED, headers=headers)


class PeopleApi(GenericViewSet[Any]):
    """Members of a project; for its office."""

    serializer_class = MemberSerializer

    @extend_schema(operation_id="projects_people_list", responses=MemberSerializer(many=True))
    def list(self, request: Request, project_key: str) -> Response:
        """Members by name."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        rows = self.paginate_queryset(members_of(scope))
        return self.get_paginated_response(MemberSerializer(rows, many=True).data)

    def retrieve(self, request: Request, project_key: str, user_id: int) -> Response:
        """One member."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        return Response(MemberSerializer(member_of(scope, user_id=user_id)).data)

    @extend_schema(request=RoleSerializer, responses=MemberSerializer)
    def update(self, request: Request, project_key: str, user_id: int) -> Response:
        """Change role and trade; 409 when the project would be left without an office."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        given = RoleSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        before = member_of(scope, user_id=user_id)
        operations.change_member(scope, user_id=user_id, **given.validated_data)
        if user_id == scope.person.id and given.validated_data["role"] != before.role:
            # Who has just left the office may no longer read the list of people.
            return Response(status=status.HTTP_204_NO_CONTENT)
        return Response(MemberSerializer(member_of(scope, user_id=user_id)).data)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, project_key: str, user_id: int) -> Response:
        """Take a person out of the project; what the person recorded stays."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        operations.remove_member(scope, user_id=user_id, at=timezone.now())
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=None, responses={201: NewLinkSerializer})
    def password_link(self, request: Request, project_key: str, user_id: int) -> Response:
        """Make a one-time link with which the person chooses a new password."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        code, now = new_link_code(), timezone.now()
        link_id = operations.issue_password_link(scope, user_id=user_id, digest=code.digest, at=now)
        return _shown(link_id, code)


class LinksApi(GenericViewSet[Any]):
    """One-time links of a project; for its office."""

    serializer_class = LinkSerializer

    @extend_schema(operation_id="projects_invitations_list", responses=LinkSerializer(many=True))
    def list(self, request: Request, project_key: str) -> Response:
        """Links, the newest first."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        rows = self.paginate_queryset(links_of(scope, at=timezone.now()))
        return self.get_paginated_response(LinkSerializer(rows, many=True).data)

    @extend_schema(request=InviteSerializer, responses={201: NewLinkSerializer})
    def create(self, request: Request, project_key: str) -> Response:
        """Make a link to join the project; the answer shows it once."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        given = InviteSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        code, now = new_link_code(), timezone.now()
        link_id = operations.invite(scope, digest=code.digest, at=now, **given.validated_data)
        return _shown(link_id, code)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, project_key: str, link_id: int) -> Response:
        """Withdraw a link that was not used yet."""
        scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
        operations.withdraw_link(scope, link_id=link_id, at=timezone.now())
        return Response(status=status.HTTP_204_NO_CONTENT)
