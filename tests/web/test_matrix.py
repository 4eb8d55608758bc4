"""Every address with every method, for every role: who gets in, who is refused, and how."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.builders import Cast
from tests.web import matrix
from tests.web.matrix import ROLES, Entry

FOLDER = Path(matrix.__file__).parent
ENTRIES: list[Entry] = [
    entry
    for module in sorted(FOLDER.glob("[a-z]*.py"))
    for entry in import_module(f"tests.web.matrix.{module.stem}").ENTRIES
]
METHODS = ("get", "post", "put", "patch", "delete")


def addresses(
    patterns: list[URLPattern | URLResolver], namespace: str = ""
) -> Iterator[tuple[str, Any]]:
    """Walk the resolver: full name and view of every address of the site."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = ":".join(filter(None, (namespace, pattern.namespace)))
            yield from addresses(pattern.url_patterns, inner)
        else:
            assert pattern.name, f"{pattern.pattern} has no name"
            yield ":".join(filter(None, (namespace, pattern.name))), pattern.callback


def methods_of(view: Any) -> list[str]:
    """Methods that an API view answers; a page must be listed with at least one."""
    if hasattr(view, "actions"):
        return [method.upper() for method in view.actions if method in METHODS]
    if hasattr(view, "cls"):
        return [method.upper() for method in METHODS if hasattr(view.cls, method)]
    return []


ADDRESSES = list(addresses(get_resolver().url_patterns))


def test_every_address_is_listed() -> None:
    listed = {(entry.name, entry.method) for entry in ENTRIES}
    names = {entry.name for entry in ENTRIES}
    missing = [name for name, _ in ADDRESSES if name not in names]
    missing += [
        f"{name} {method}"
        for name, view in ADDRESSES
        for method in methods_of(view)
        if (name, method) not in listed
    ]
    assert not missing, "list these in tests/web/matrix/: " + ", ".join(sorted(set(missing)))


def test_nothing_is_listed_that_is_not_there() -> None:
    known = {name for name, _ in ADDRESSES}
    assert {entry.name for entry in ENTRIES} <= known


def test_names_are_unique() -> None:
    names = [name for name, _ in ADDRESSES]
    assert sorted(set(names)) == sorted(names)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda e: f"{e.name} {e.method}")
def test_status_for_every_role(cast: Cast, entry: Entry) -> None:
    assert set(entry.statuses) == set(ROLES)
    answered = {role: _status(cast, entry, role) for role in ROLES}
    assert answered == dict(entry.statuses)


def _status(cast: Cast, entry: Entry, role: str) -> int:
    user = None if role == "anonymous" else cast.person(role)
    client = Client()
    if user is not None:
        client.force_login(user, backend="projectsite.accounts.signed_in.PersonBackend")
    address = reverse(entry.name, kwargs=entry.arguments(cast, user))
    data = entry.data(cast) if callable(entry.data) else entry.data
    send = getattr(client, entry.method.lower())
    if entry.is_api and entry.method != "GET":
        response = send(address, data=dict(data), content_type="application/json")
    else:
        response = send(address, data=dict(data))
    return int(response.status_code)
