"""Registry of what terminal units share: an air handler, a trunk, a control transformer.

A step of a trunk is done once and counts for all units on it. Whoever shows steps asks here
which units belong together and never imports the app that keeps trunks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from projectsite.core.scope import Scope


@dataclass(frozen=True, slots=True)
class Group:
    """One air handler, trunk or transformer: its id, tag and page."""

    id: int
    label: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class Grouping:
    """All groups of one kind in a project, and the group of each unit that has one."""

    groups: Mapping[int, Group] = field(default_factory=dict)
    of_unit: Mapping[int, int] = field(default_factory=dict)


Provider = Callable[[Scope], Grouping]
_providers: dict[str, Provider] = {}


def register(kind: str, provider: Provider) -> None:
    """Add the provider of a kind; registering the same function again is harmless.

    Raises
    ------
    ValueError
        The kind has another provider already.
    """
    if _providers.setdefault(kind, provider) is not provider:
        raise ValueError(f"groups of kind {kind!r} are registered twice")


def kinds() -> tuple[str, ...]:
    """Kinds that this site keeps."""
    return tuple(sorted(_providers))


def grouping(scope: Scope, kind: str) -> Grouping:
    """Groups of a kind in the project; none when this site does not keep the kind."""
    provider = _providers.get(kind)
    return provider(scope) if provider else Grouping()
