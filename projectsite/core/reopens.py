"""Registry of what a changed unit reopens: a test made for the old airflow, a sealed document.

Each app registers a provider when it starts; a schedule import asks here before it is applied
and never imports the app that holds the test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from projectsite.core.scope import Scope

Changes = Mapping[int, Mapping[str, tuple[Any, Any]]]
"""Old and new value (SI) by field name, by unit id."""


@dataclass(frozen=True, slots=True)
class Reopened:
    """One thing that no longer holds for a unit; ``text`` says what and why in one sentence."""

    unit_id: int
    text: str
    url: str = ""


Provider = Callable[[Scope, Changes], Iterable[Reopened]]
_providers: dict[str, Provider] = {}


def register(name: str, provider: Provider) -> None:
    """Add a provider under a unique name; registering the same function again is harmless."""
    known = _providers.get(name)
    if known is not None and known is not provider:
        raise ValueError(f"reopening provider {name!r} is registered twice")
    _providers[name] = provider


def unregister(name: str) -> None:
    """Take a provider out again; an unknown name is harmless."""
    _providers.pop(name, None)


def collect(scope: Scope, changes: Changes) -> list[Reopened]:
    """Ask every provider what these changes reopen."""
    if not changes:
        return []
    return [found for provider in _providers.values() for found in provider(scope, changes)]
