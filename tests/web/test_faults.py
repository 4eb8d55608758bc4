"""A database that is away is said as such, by pages and by the API."""

from __future__ import annotations

from collections.abc import Callable
from unittest import mock

import pytest
from django.db import OperationalError
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders.accounts import Cast


@pytest.fixture
def away() -> mock.Mock:
    return mock.Mock(side_effect=OperationalError("the connection was closed"))


def test_page_answers_503(
    cast: Cast,
    sign_in: Callable[[User], Client],
    away: mock.Mock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    client = sign_in(cast.office)
    client.raise_request_exception = False
    monkeypatch.setattr("projectsite.core.status.site_status", away)
    answer = client.get("/status/")
    assert answer.status_code == 503
    assert answer["Retry-After"] == "2"
    assert b"Nothing was lost" in answer.content


def test_api_answers_503(
    cast: Cast,
    api_as: Callable[[User], APIClient],
    away: mock.Mock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("projectsite.core.status.site_status", away)
    answer = api_as(cast.office).get("/api/v1/status/")
    assert answer.status_code == 503
    assert answer.json()["code"] == "away"


def test_other_faults_answer_500(
    cast: Cast, sign_in: Callable[[User], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = sign_in(cast.office)
    client.raise_request_exception = False
    broken = mock.Mock(side_effect=RuntimeError("a bug"))
    monkeypatch.setattr("projectsite.core.status.site_status", broken)
    answer = client.get("/status/")
    assert answer.status_code == 500
    assert b"recorded" in answer.content
