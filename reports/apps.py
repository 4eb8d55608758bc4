"""Reports: documents of a project, drafted and issued."""

from __future__ import annotations

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    """The only reader of all concerns."""

    name = "reports"
    label = "reports"
