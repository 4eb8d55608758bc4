"""Addresses of the work, below a project; each module of pages and API lists its own."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver

from zones.work.api import board as board_api
from zones.work.api import checkouts as checkouts_api
from zones.work.api import files as files_api
from zones.work.api import planning as planning_api
from zones.work.api import plans as plans_api
from zones.work.api import progress as progress_api
from zones.work.api import punch as punch_api
from zones.work.api import steps as steps_api
from zones.work.api import templates as templates_api
from zones.work.views import (
    catalogue,
    checkouts,
    files,
    grid,
    mine,
    planning,
    plans,
    progress,
    punch,
    step_panels,
    templates,
)

app_name = "work"

urlpatterns: list[URLPattern | URLResolver] = [
    *grid.urlpatterns,
    *mine.urlpatterns,
    *step_panels.urlpatterns,
    *planning.urlpatterns,
    *catalogue.urlpatterns,
    *templates.urlpatterns,
    *checkouts.urlpatterns,
    *punch.urlpatterns,
    *files.urlpatterns,
    *progress.urlpatterns,
    *plans.urlpatterns,
]
"""Pages; mounted below ``p/<project_key>/``."""

api_urlpatterns: list[URLPattern | URLResolver] = [
    *steps_api.urlpatterns,
    *board_api.urlpatterns,
    *planning_api.urlpatterns,
    *templates_api.urlpatterns,
    *checkouts_api.urlpatterns,
    *punch_api.urlpatterns,
    *files_api.urlpatterns,
    *progress_api.urlpatterns,
    *plans_api.urlpatterns,
]
"""API; mounted below ``api/v1/projects/<project_key>/``."""
