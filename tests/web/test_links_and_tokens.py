"""What is shown once: one-time links and API tokens, on pages and in the API."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from projectsite.accounts.models import ApiToken, Membership, User
from tests.builders import PASSWORD, Cast, make_token

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
SHOWN = re.compile(r'id="once"[^>]*value="([^"]+)"')
CHOSEN = {"full_name": "Bea Lancer", "username": "bea", "password": PASSWORD, "again": PASSWORD}


def shown_in(answer: Any) -> str:
    match = SHOWN.search(answer.content.decode())
    assert match
    assert answer["Cache-Control"].find("no-store") >= 0
    return match.group(1)


def code_of(address: str) -> str:
    return address.partition("?code=")[2]


def bearer(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def test_from_the_invitation_to_the_project_page(cast: Cast, sign_in: SignIn) -> None:
    office = sign_in(cast.office)
    answer = office.post(
        "/p/alder/people/invite/", {"invited_name": "Bea", "role": "balancer", "trade": ""}
    )
    code = code_of(shown_in(answer))
    assert code not in office.get("/p/alder/people/").content.decode()
    guest = Client()
    assert "Alder Street Library" in guest.get("/join/", {"code": code}).content.decode()
    joined = guest.post("/join/", {**CHOSEN, "code": code})
    assert joined["Location"] == "/p/alder/"
    assert guest.get("/p/alder/").status_code == 200
    assert Client().get("/join/", {"code": code}).status_code == 404


def test_opening_a_link_does_not_use_it_up(cast: Cast, sign_in: SignIn, api_as: ApiAs) -> None:
    made = api_as(cast.office).post(
        "/api/v1/projects/alder/invitations/", {"invited_name": "Bea", "role": "owner"}
    )
    code = code_of(made.json()["address"])
    for _ in range(3):
        assert Client().get("/join/", {"code": code}).status_code == 200


def test_who_is_signed_in_joins_as_that(cast: Cast, sign_in: SignIn, api_as: ApiAs) -> None:
    made = api_as(cast.office).post(
        "/api/v1/projects/alder/invitations/", {"invited_name": "Sam", "role": "owner"}
    )
    code = code_of(made.json()["address"])
    client = sign_in(cast.stranger)
    assert client.post("/join/", {"code": code})["Location"] == "/p/alder/"
    assert Membership.objects.get(user=cast.stranger, project=cast.project).role == "owner"


def test_the_same_by_the_api(cast: Cast, api_as: ApiAs) -> None:
    office = api_as(cast.office)
    made = office.post(
        "/api/v1/projects/alder/invitations/", {"invited_name": "B", "role": "owner"}
    )
    code = code_of(made.json()["address"])
    data = {"code": code, "username": "bea", "full_name": "Bea Lancer", "password": PASSWORD}
    joined = APIClient().post("/api/v1/join/new-person/", data)
    assert joined.status_code == 201
    assert joined.json()["project_key"] == "alder"
    assert APIClient().post("/api/v1/join/new-person/", data).status_code == 404
    (row,) = office.get("/api/v1/projects/alder/invitations/").json()["results"]
    assert (row["state"], row["used_by"]) == ("used", "Bea Lancer")


def test_a_password_link_from_page_to_sign_in(cast: Cast, sign_in: SignIn) -> None:
    path = f"/p/alder/people/{cast.owner.pk}/password-link/"
    code = code_of(shown_in(sign_in(cast.office).post(path)))
    old_session = sign_in(cast.owner)
    new = {"password": "chalk-and-twine", "again": "chalk-and-twine", "code": code}
    assert Client().post("/join/", new)["Location"] == "/p/alder/"
    assert old_session.get("/").status_code == 302
    data = {"username": "owner", "password": "chalk-and-twine"}
    assert Client().post("/sign-in/", data).status_code == 302


def test_a_token_is_shown_once_and_kept_as_its_digest(cast: Cast, sign_in: SignIn) -> None:
    client = sign_in(cast.balancer)
    token = shown_in(client.post("/account/tokens/", {"label": "logger", "days": "30"}))
    assert token not in client.get("/account/tokens/").content.decode()
    with connection.cursor() as cursor:
        cursor.execute("select t::text from accounts_apitoken t")
        assert token not in cursor.fetchone()[0]
    assert bearer(token).get("/api/v1/me/").json()["username"] == "balancer"


def test_a_revoked_token_is_refused(cast: Cast, sign_in: SignIn) -> None:
    client = sign_in(cast.balancer)
    token = shown_in(client.post("/account/tokens/", {"label": "logger", "days": ""}))
    client.post(f"/account/tokens/{ApiToken.objects.get().pk}/revoke/")
    answer = bearer(token).get("/api/v1/me/")
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, 'Bearer realm="api"')
    assert answer.json()["code"] == "authentication-failed"


def test_nobody_revokes_the_token_of_another(cast: Cast, sign_in: SignIn) -> None:
    make_token(cast.balancer)
    path = f"/account/tokens/{ApiToken.objects.get().pk}/revoke/"
    assert sign_in(cast.office).post(path).status_code == 404


def test_an_expired_token_is_refused(cast: Cast) -> None:
    token = make_token(cast.balancer, expires_at=timezone.now() + timedelta(days=1))
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=False):
        assert bearer(token).get("/api/v1/me/").status_code == 401


def test_a_token_of_someone_switched_off_is_refused(cast: Cast) -> None:
    token = make_token(cast.balancer)
    User.objects.filter(pk=cast.balancer.pk).update(is_active=False)
    assert bearer(token).get("/api/v1/me/").status_code == 401


@pytest.mark.parametrize(
    "header", ["Bearer", "Bearer a b", "Bearer " + "x" * 101, "Bearer \xff\xfe", "Bearer nonsense"]
)
def test_a_broken_token_is_refused(cast: Cast, header: str) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=header)
    assert client.get("/api/v1/me/").status_code == 401


def test_use_is_noted_at_most_once_a_minute(cast: Cast) -> None:
    client = bearer(make_token(cast.balancer))
    start = timezone.now().replace(microsecond=0)
    noted = []
    for seconds in (0, 30, 59, 60, 90):
        with time_machine.travel(start + timedelta(seconds=seconds), tick=False):
            client.get("/api/v1/me/")
        last = ApiToken.objects.get().last_used_at
        assert last is not None
        noted.append((last - start).total_seconds())
    assert noted == [0, 0, 0, 60, 60]


def test_a_token_made_with_a_token_does_not_outlive_it(cast: Cast) -> None:
    end = timezone.now() + timedelta(days=3)
    client = bearer(make_token(cast.balancer, expires_at=end))
    client.post("/api/v1/me/tokens/", {"label": "longer", "days": None})
    assert ApiToken.objects.get(label="longer").expires_at == end


def test_a_token_needs_no_proof_of_a_form_and_a_session_does(cast: Cast) -> None:
    session = APIClient(enforce_csrf_checks=True)
    session.force_login(cast.office, backend="projectsite.accounts.signed_in.PersonBackend")
    assert session.patch("/api/v1/me/", {"full_name": "Other"}).status_code == 403
    program = APIClient(enforce_csrf_checks=True)
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {make_token(cast.office)}")
    assert program.patch("/api/v1/me/", {"full_name": "Other"}).status_code == 200


def test_the_first_link_command_goes_on_until_someone_is_there(
    db: None, capsys: pytest.CaptureFixture[str]
) -> None:
    from django.core.management import call_command  # noqa: PLC0415  # only here

    call_command("first_link")
    first = capsys.readouterr().out.split()[-1]
    call_command("first_link")
    second = capsys.readouterr().out.split()[-1]
    assert Client().get("/join/", {"code": code_of(first)}).status_code == 404
    begun = Client().post("/join/", {**CHOSEN, "code": code_of(second)})
    assert begun["Location"] == "/"
    call_command("first_link")
    assert "code=" not in capsys.readouterr().out
    assert User.objects.get().may_create_projects
