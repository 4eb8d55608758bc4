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
_decided: dict[str, str] = {}


def register(name: str, provider: Provider, *, decides: Iterable[str] = ()) -> None:
    """Add a provider under a unique name; registering the same function again is harmless.

    Parameters
    ----------
    decides
        Keys of steps that only this proof completes: nobody marks them done by hand. Other
        steps that the provider proves may also be marked while there is no proof.

    Raises
    ------
    ValueError
        The name, or one of the steps, belongs to another provider.
    """
    known = _providers.get(name)
    if known is not None and known is not provider:
        raise ValueError(f"evidence provider {name!r} is registered twice")
    for step in decides:
        if _decided.setdefault(step, name) != name:
            raise ValueError(f"step {step!r} is decided by {_decided[step]!r} already")
    _providers[name] = provider


def decided_steps() -> frozenset[str]:
    """Keys of the steps that follow the record alone."""
    return frozenset(_decided)


def collect(scope: Scope, unit_ids: Sequence[int]) -> list[Proof]:
    """Ask every provider about these units."""
    return [proof for provider in _providers.values() for proof in provider(scope, unit_ids)]
