"""Registry of what proves a work step: an accepted flow test, a confirmed address, ...

Each app registers providers when it starts; whoever shows steps asks here and never
imports the app that holds the proof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from projectsite.core.scope import Scope


@dataclass(frozen=True, slots=True)
class Proof:
    """One piece of evidence about one unit.

    ``holds`` is False when the record once proved the step and no longer does (a
    schedule changed after the test); ``text`` says what and why in one sentence.
    """

    step: str
    unit_id: int
    holds: bool
    text: str
    at: datetime | None
    url: str = ""


Provider = Callable[[Scope, Sequence[int]], Iterable[Proof]]
_providers: dict[str, Provider] = {}


def register(name: str, provider: Provider) -> None:
    """Add a provider under a unique name; registering the same function again is harmless."""
    known = _providers.get(name)
    if known is not None and known is not provider:
        raise ValueError(f"evidence provider {name!r} is registered twice")
    _providers[name] = provider


def collect(scope: Scope, unit_ids: Sequence[int]) -> list[Proof]:
    """Ask every provider about these units."""
    return [proof for provider in _providers.values() for proof in provider(scope, unit_ids)]
