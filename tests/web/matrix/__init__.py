"""Every address of the site and what each person gets there.

Each app lists its addresses as ``ENTRIES`` in a module of this package, named by the app.
Add an address to ``urls.py`` and the matrix fails until it is listed here for everyone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast

ROLES = ("anonymous", "stranger", "owner", "installer", "balancer", "controls", "office")
"""Who may least comes first, so that a refused change leaves the record for the next one."""

MEMBERS = ("owner", "installer", "balancer", "controls", "office")

Statuses = Mapping[str, int]


def _in_project(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key}


def nothing(cast: Cast, user: User | None) -> dict[str, Any]:
    """Give no arguments, for addresses that take none."""
    del cast, user
    return {}


@dataclass(frozen=True)
class Entry:
    """One address with one method.

    Attributes
    ----------
    name
        Name of the address with its namespace, such as ``accounts:people``.
    statuses
        Status that each of ``ROLES`` gets.
    method
        Method of the request.
    arguments
        Gives the arguments of the address; it may store what the address is about. It is
        called anew for each person (None for anonymous).
    data
        Body of the request; JSON for the API, a form for pages. A function gets the cast.
    """

    name: str
    statuses: Statuses
    method: str = "GET"
    arguments: Callable[[Cast, User | None], dict[str, Any]] = _in_project
    data: Mapping[str, Any] | Callable[[Cast], Mapping[str, Any]] = field(default_factory=dict)

    @property
    def is_api(self) -> bool:
        """Tell whether the address belongs to the API."""
        return self.name.partition(":")[0].endswith("-api")


def _statuses(members: Statuses, *, anonymous: int, stranger: int) -> Statuses:
    return {"anonymous": anonymous, "stranger": stranger, **members}


def page(granted: int = 200, *, to: tuple[str, ...] = MEMBERS) -> Statuses:
    """A page of a project: for these roles; 403 for other members, 404 for the stranger."""
    members = {role: granted if role in to else 403 for role in MEMBERS}
    return _statuses(members, anonymous=302, stranger=404)


def api(granted: int = 200, *, to: tuple[str, ...] = MEMBERS) -> Statuses:
    """The same in the API, where nobody is sent to the sign-in page."""
    members = {role: granted if role in to else 403 for role in MEMBERS}
    return _statuses(members, anonymous=401, stranger=404)


def everyone(granted: int = 200, *, anonymous: int) -> Statuses:
    """An address of no project: the same for all who are signed in."""
    return {role: anonymous if role == "anonymous" else granted for role in ROLES}


OFFICE = ("office",)
