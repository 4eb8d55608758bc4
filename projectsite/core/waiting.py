"""Registry of what waits for a person: each concern says what it has, the home page shows it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from projectsite.core.scope import Person


@dataclass(frozen=True, slots=True)
class WaitingItem:
    """Something that waits for the person in a project.

    Attributes
    ----------
    project_key
        Project it belongs to.
    text
        What it is, to stand after the count: "tests to accept".
    url
        Page where the person can do it.
    count
        How many; an item of none is not shown.
    """

    project_key: str
    text: str
    url: str
    count: int


Provider = Callable[[Person], list[WaitingItem]]

_providers: dict[str, Provider] = {}


def register(name: str, provider: Provider) -> None:
    """Add a provider; a second one under a taken name is refused with ValueError.

    A provider answers for all projects of the person at once, in a fixed number of queries,
    and looks at the person's roles itself.
    """
    if _providers.setdefault(name, provider) is not provider:
        raise ValueError(f"provider {name!r} is registered twice")


def collect(person: Person) -> dict[str, list[WaitingItem]]:
    """Everything that waits for the person, by project."""
    found: dict[str, list[WaitingItem]] = {}
    for name in sorted(_providers):
        for item in _providers[name](person):
            if item.count > 0:
                found.setdefault(item.project_key, []).append(item)
    return found
