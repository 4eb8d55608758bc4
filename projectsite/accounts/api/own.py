"""API of what belongs to the caller: account, password, tokens; and of one-time links."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from projectsite.accounts.access import person_of
from projectsite.accounts.domain.codes import new_token
from projectsite.accounts.operations import joining, own
from projectsite.accounts.queries import account_of, tokens_of
from projectsite.accounts.serializers import (
    AccountSerializer,
    ChosenPasswordSerializer,
    CodeSerializer,
    JoinedSerializer,
    NewPersonSerializer,
    NewTokenSerializer,
    PasswordSerializer,
    ShownTokenSerializer,
    TokenSerializer,
)


class MeApi(APIView):
    """The caller's own account."""

    @extend_schema(operation_id="me_retrieve", responses=AccountSerializer)
    def get(self, request: Request) -> Response:
        """Own name, units for reading, and whether projects may be made."""
        return Response(AccountSerializer(account_of(person_of(request))).data)

    @extend_schema(request=AccountSerializer, responses=AccountSerializer)
    def patch(self, request: Request) -> Response:
        """Change the own name and units."""
        person = person_of(request)
        given = AccountSerializer(data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        stored = asdict(account_of(person))
        values = {name: stored[name] for name in ("full_name", "reading_system")}
        own.change_account(person, **{**values, **given.validated_data})
        return self.get(request)


class PasswordApi(APIView):
    """The caller's password."""

    @extend_schema(request=PasswordSerializer, responses={204: None})
    def post(self, request: Request) -> Response:
        """Change the own password; sessions end, tokens go on."""
        given = PasswordSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        own.change_password(person_of(request), **given.validated_data)
        return Response(status=status.HTTP_204_NO_CONTENT)


class TokensApi(GenericViewSet[Any]):
    """The caller's API tokens."""

    serializer_class = TokenSerializer

    @extend_schema(operation_id="me_tokens_list", responses=TokenSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Tokens that work, the newest first."""
        rows = self.paginate_queryset(tokens_of(person_of(request), at=timezone.now()))
        return self.get_paginated_response(TokenSerializer(rows, many=True).data)

    @extend_schema(request=NewTokenSerializer, responses={201: ShownTokenSerializer})
    def create(self, request: Request) -> Response:
        """Make a token; the answer shows it once. It does not outlive the token that asks."""
        given = NewTokenSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        code, made_with = new_token(), getattr(request.auth, "pk", None)
        token_id = own.create_token(
            person_of(request),
            code=code,
            at=timezone.now(),
            made_with=made_with,
            **given.validated_data,
        )
        data = ShownTokenSerializer({"id": token_id, "token": code.plain}).data
        headers = {"Cache-Control": "no-store"}
        return Response(data, status=status.HTTP_201_CREATED, headers=headers)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, token_id: int) -> Response:
        """Make a token stop working."""
        own.revoke_token(person_of(request), token_id=token_id, at=timezone.now())
        return Response(status=status.HTTP_204_NO_CONTENT)


class JoinApi(APIView):
    """Use a one-time link as the caller."""

    @extend_schema(request=CodeSerializer, responses=JoinedSerializer)
    def post(self, request: Request) -> Response:
        """Join the project of the link."""
        given = CodeSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        joined = joining.join_as(person_of(request), at=timezone.now(), **given.validated_data)
        return Response(JoinedSerializer(joined).data)


class JoinAsNewPersonApi(APIView):
    """Use a one-time link as someone who is not a person of the site yet."""

    permission_classes = [AllowAny]

    @extend_schema(request=NewPersonSerializer, responses={201: JoinedSerializer}, auth=[])
    def post(self, request: Request) -> Response:
        """Choose a sign-in name and a password, and join."""
        given = NewPersonSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        joined = joining.join_as_new_person(at=timezone.now(), **given.validated_data)
        return Response(JoinedSerializer(joined).data, status=status.HTTP_201_CREATED)


class ChoosePasswordApi(APIView):
    """Use a password link."""

    permission_classes = [AllowAny]

    @extend_schema(request=ChosenPasswordSerializer, responses=JoinedSerializer, auth=[])
    def post(self, request: Request) -> Response:
        """Choose a new password."""
        given = ChosenPasswordSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        joined = joining.choose_password(at=timezone.now(), **given.validated_data)
        return Response(JoinedSerializer(joined).data)
