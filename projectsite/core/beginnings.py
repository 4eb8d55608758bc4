"""Registry of what a new project begins with: a catalogue of steps, a list of checks.

Each app registers a provider when it starts; whoever makes a project asks here inside the
same transaction and never imports the app that fills it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from projectsite.core.scope import Scope

Provider = Callable[[Scope, datetime], object]
_providers: dict[str, Provider] = {}


def register(name: str, provider: Provider) -> None:
    """Add a provider under a unique name; registering the same function again is harmless.

    Raises
    ------
    ValueError
        The name belongs to another provider.
    """
    if _providers.setdefault(name, provider) is not provider:
        raise ValueError(f"beginning {name!r} is registered twice")


def begin(scope: Scope, at: datetime) -> None:
    """Let every provider fill a new project, in the order of their names.

    Parameters
    ----------
    scope
        Whoever made the project, in it.
    at
        The time now.
    """
    for name in sorted(_providers):
        _providers[name](scope, at)
