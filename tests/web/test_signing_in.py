"""Sign in and out, the throttle, where one goes afterwards, and the own account."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.contrib.auth.hashers import identify_hasher
from django.test import Client, override_settings

from projectsite import settings as site_settings
from projectsite.accounts.models import User
from tests.builders import PASSWORD, Cast, make_user

SignIn = Callable[[User], Client]


def try_to_enter(client: Client, username: str, password: str, **more: str) -> int:
    data = {"username": username, "password": password, **more}
    return int(client.post("/sign-in/", data).status_code)


def test_the_right_password_opens(cast: Cast) -> None:
    client = Client()
    assert try_to_enter(client, "office", PASSWORD) == 302
    assert client.get("/").status_code == 200


def test_the_name_is_taken_in_any_letters(cast: Cast) -> None:
    assert try_to_enter(Client(), " OFFICE", PASSWORD) == 302


def test_a_wrong_password_is_told_plainly(cast: Cast) -> None:
    answer = Client().post("/sign-in/", {"username": "office", "password": "wrong"})
    assert answer.status_code == 200
    assert "Name or password is wrong" in answer.content.decode()


def test_someone_switched_off_cannot_enter(db: None) -> None:
    make_user("gone", is_active=False)
    assert try_to_enter(Client(), "gone", PASSWORD) == 200


def test_ten_wrong_passwords_lock_the_name_even_for_the_right_one(cast: Cast) -> None:
    client = Client()
    statuses = [try_to_enter(client, "office", "wrong") for _ in range(10)]
    assert statuses == [200] * 9 + [429]
    answer = client.post("/sign-in/", {"username": "office", "password": PASSWORD})
    assert answer.status_code == 429
    assert "15 minutes" in answer.content.decode()


def test_other_letters_do_not_give_more_tries(cast: Cast) -> None:
    names = ["office", "Office", "OFFICE", "offIce", "OFfice"] * 2
    assert [try_to_enter(Client(), name, "wrong") for name in names][-1] == 429


def test_the_lock_is_for_one_name_only(cast: Cast) -> None:
    for _ in range(11):
        try_to_enter(Client(), "office", "wrong")
    assert try_to_enter(Client(), "balancer", PASSWORD) == 302


def test_entering_resets_the_count(cast: Cast) -> None:
    for _ in range(9):
        try_to_enter(Client(), "office", "wrong")
    assert try_to_enter(Client(), "office", PASSWORD) == 302
    assert try_to_enter(Client(), "office", "wrong") == 200


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://example.org/",
        "//example.org/",
        "javascript:alert(1)",
        r"\\example.org",
        "https:example.org",
    ],
)
def test_one_is_never_sent_to_another_site(cast: Cast, elsewhere: str) -> None:
    data = {"username": "office", "password": PASSWORD, "next": elsewhere}
    assert Client().post("/sign-in/", data)["Location"] == "/"


def test_one_goes_on_to_the_page_asked_for(cast: Cast) -> None:
    asked = Client().get("/p/alder/people/")
    assert asked["Location"] == "/sign-in/?next=/p/alder/people/"
    data = {"username": "office", "password": PASSWORD, "next": "/p/alder/people/"}
    assert Client().post("/sign-in/", data)["Location"] == "/p/alder/people/"


def test_signing_out_ends_the_session(cast: Cast, sign_in: SignIn) -> None:
    client = sign_in(cast.office)
    client.post("/sign-out/")
    assert client.get("/")["Location"].startswith("/sign-in/")


def test_signing_in_needs_the_proof_of_the_form(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    assert try_to_enter(client, "office", PASSWORD) == 403


def test_passwords_are_kept_by_argon2(db: None) -> None:
    with override_settings(PASSWORD_HASHERS=site_settings.PASSWORD_HASHERS):
        assert identify_hasher(make_user("someone").password).algorithm == "argon2"


def test_a_new_password_ends_other_sessions_and_keeps_this_one(cast: Cast, sign_in: SignIn) -> None:
    here, elsewhere = sign_in(cast.office), sign_in(cast.office)
    new = "chalk-and-twine"
    data = {"old_password": PASSWORD, "new_password": new, "again": new}
    assert here.post("/account/password/", data)["Location"] == "/account/"
    assert here.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 302
    assert try_to_enter(Client(), "office", new) == 302


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"old_password": "wrong"}, "This is not your password."),
        ({"new_password": "short", "again": "short"}, "too short"),
        ({"new_password": "password123", "again": "password123"}, "too common"),
        ({"again": "something-else"}, "The two differ."),
    ],
)
def test_a_password_is_not_changed(
    cast: Cast, sign_in: SignIn, change: dict[str, str], words: str
) -> None:
    data = {"old_password": PASSWORD, "new_password": "chalk-and-twine", "again": "chalk-and-twine"}
    answer = sign_in(cast.office).post("/account/password/", {**data, **change})
    assert words in answer.content.decode()
    cast.office.refresh_from_db()
    assert cast.office.check_password(PASSWORD)


def highest_velocity(client: Client) -> str:
    """What the project page says of the highest inlet velocity, without markup."""
    shown = client.get("/p/alder/").content.decode()
    found = re.search(r"Highest inlet velocity</dt><dd>(.*?)</dd>", shown)
    assert found
    return re.sub(r"<[^>]+>", "", found.group(1)).replace(",", "").replace("\u00a0", " ")


def test_units_for_reading_change_what_is_read_only(cast: Cast, sign_in: SignIn) -> None:
    client = sign_in(cast.office)
    assert highest_velocity(client) == "2000 fpm"
    client.post("/account/", {"full_name": "Office Person", "reading_system": "si"})
    assert highest_velocity(client) == "10.16 m/s"
    cast.project.refresh_from_db()
    assert cast.project.display_system == "ip"
