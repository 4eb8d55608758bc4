"""Health of the site: what a monitor and whoever looks after the site need to know."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from projectsite.core import jobs


@dataclass(frozen=True, slots=True)
class SiteStatus:
    """What the site says of itself; no addresses, names or secrets."""

    database_version: str
    jobs_waiting: int


def site_status() -> SiteStatus:
    """Read the state of the database and of the queue, in two queries."""
    with connection.cursor() as cursor:
        cursor.execute("show server_version")
        version = str(cursor.fetchone()[0])
    return SiteStatus(version, jobs.waiting())


@login_not_required
@never_cache
@require_GET
def healthz(request: HttpRequest) -> HttpResponse:
    """Answer "ok" when the site can reach its database; for monitors, so it tells nothing else."""
    del request
    with connection.cursor() as cursor:
        cursor.execute("select 1")
    return HttpResponse("ok\n", content_type="text/plain")


@never_cache
@require_GET
def status(request: HttpRequest) -> HttpResponse:
    """Show the health of the site to a person."""
    return render(request, "core/status.html", {"status": site_status()})


class StatusSerializer(serializers.Serializer[Any]):
    """Health of the site."""

    database_version = serializers.CharField()
    jobs_waiting = serializers.IntegerField()


class StatusApi(APIView):
    """Health of the site."""

    @extend_schema(operation_id="status_retrieve", responses=StatusSerializer)
    def get(self, request: Request) -> Response:
        """Version of the database and number of jobs that wait or run."""
        del request
        return Response(StatusSerializer(site_status()).data)
