"""Look and feel: no tables."""

from __future__ import annotations

from django.apps import AppConfig


class UiConfig(AppConfig):
    """Frame of every page, tables, marks and pictures' colours."""

    name = "projectsite.ui"
    label = "ui"
