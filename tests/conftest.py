"""Fixtures that every test may use, and the rules that every test keeps."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis
import pytest
from django.db import connection
from django.test import Client
from pytest_django import DjangoDbBlocker
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders.accounts import Cast, make_cast, make_token
from tests.recorded_queries import recorded_queries

__all__ = ["recorded_queries"]

TESTS = Path(__file__).parent
# Run by hand; they are programs, and the doctest collector would import them.
collect_ignore = ["benchmarks"]
WITH_DATABASE = ("db", "web")
"""Folders whose tests all use the database."""

# Examples are drawn the same way in every run, so that a failure can be repeated.
hypothesis.settings.register_profile(
    "house", deadline=None, derandomize=True, max_examples=60, database=None, print_blob=True
)
hypothesis.settings.register_profile(
    "long", deadline=None, max_examples=2000, database=None, print_blob=True
)
hypothesis.settings.load_profile(os.environ.get("PLENUM_HYPOTHESIS", "house"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep ``tests/unit`` pure and give the database to the folders that are about it."""
    for item in items:
        if not item.path.is_relative_to(TESTS):
            continue
        folder = item.path.relative_to(TESTS).parts[0]
        if folder in WITH_DATABASE and item.get_closest_marker("django_db") is None:
            item.add_marker(pytest.mark.django_db)
        fixtures = set(getattr(item, "fixturenames", ()))
        uses_database = bool(fixtures & {"db", "transactional_db", "django_db_setup"})
        if folder == "unit" and (uses_database or item.get_closest_marker("django_db")):
            raise pytest.UsageError(
                f"{item.nodeid} asks for the database; tests of tests/unit are pure. "
                "Move it to tests/db or tests/web."
            )


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """End sessions that threads left behind, so that the database can be dropped.

    The live server, races and jobs run in threads of their own; a connection ends with its
    thread only when the collector comes by.
    """
    yield
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture
def cast(db: None) -> Cast:
    """One person per role in a project, and a stranger in another project."""
    return make_cast()


@pytest.fixture
def sign_in() -> Callable[[User], Client]:
    """Give a browser in which a person is signed in, without paying for a password."""

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user, backend="projectsite.accounts.signed_in.PersonBackend")
        return client

    return signed_in


@pytest.fixture
def api_as() -> Callable[[User], APIClient]:
    """Give an API client that acts for a person with a token."""

    def client_of(user: User) -> APIClient:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {make_token(user)}")
        return client

    return client_of
