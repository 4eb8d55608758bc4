"""System checks: what an installation must have right before it serves anyone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db import connections

MINIMUM_POSTGRES = 150_000


def _https(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[checks.CheckMessage]:
    del app_configs, kwargs
    if settings.HTTPS or settings.DEBUG:
        return []
    return [
        checks.Warning(
            "The site is served without HTTPS.",
            hint="Passwords travel in the clear and tablets cannot work offline. Put it behind a "
            "TLS proxy and set PLENUM_HTTPS=1.",
            id="core.W001",
        )
    ]


def _media(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[checks.CheckMessage]:
    del app_configs, kwargs
    folder = settings.MEDIA_ROOT
    if folder.is_dir() or not folder.exists():
        return []
    return [checks.Error(f"{folder} is not a folder.", hint="Set PLENUM_VAR.", id="core.E001")]


def _database(
    app_configs: Sequence[AppConfig] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[checks.CheckMessage]:
    del app_configs, kwargs
    found: list[checks.CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        connection.ensure_connection()
        version = connection.connection.info.server_version
        if version < MINIMUM_POSTGRES:
            found.append(
                checks.Error(
                    f"PostgreSQL {version // 10_000} is too old.",
                    hint="Use PostgreSQL 15 or newer.",
                    id="core.E002",
                )
            )
        with connection.cursor() as cursor:
            cursor.execute(
                "select name, setting from pg_settings "
                "where name in ('fsync', 'full_page_writes', 'synchronous_commit')"
            )
            off = sorted(name for name, setting in cursor.fetchall() if setting == "off")
        if off:
            found.append(
                checks.Warning(
                    f"The database runs with {', '.join(off)} off: a power cut can lose readings.",
                    id="core.W002",
                )
            )
    return found


def register_all() -> None:
    """Register every check; called once when the app is ready."""
    checks.register(_https, checks.Tags.security, deploy=True)
    checks.register(_media, checks.Tags.files)
    checks.register(_database, checks.Tags.database)
