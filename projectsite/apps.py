"""The composition root as an app, so that it can hold commands that know every concern."""

from __future__ import annotations

from django.apps import AppConfig


class SiteConfig(AppConfig):
    """Commands that put the concerns together."""

    name = "projectsite"
    label = "projectsite"
