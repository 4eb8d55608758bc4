"""Addresses of people, projects, calculators and the site itself."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from projectsite.accounts.domain.codes import new_link_code, new_token
from projectsite.accounts.models import ApiToken, Invitation, Membership, User
from tests.builders import Cast, make_membership, make_token, make_user
from tests.web.matrix import OFFICE, Entry, api, everyone, nothing, page


def helper_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name one more member of the project."""
    del user
    found = Membership.objects.filter(project=cast.project, user__username="helper").first()
    if found is None:
        found = make_membership(make_user("helper"), cast.project, "controls")
    return {"project_key": cast.project.key, "user_id": found.user_id}


def link_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a one-time link of the project."""
    del user
    now = timezone.now()
    link = Invitation.objects.create(
        project=cast.project,
        role="owner",
        invited_name="someone",
        digest=new_link_code().digest,
        created_at=now,
        expires_at=now + timedelta(days=7),
    )
    return {"project_key": cast.project.key, "link_id": link.pk}


def own_token(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a token of the person."""
    owner = user or cast.office
    make_token(owner, new_token().plain)
    return {"token_id": ApiToken.objects.filter(user=owner).latest("id").pk}


def formula(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a calculator."""
    del cast, user
    return {"name": "air-density"}


CREATOR_ONLY = {
    "anonymous": 302,
    **dict.fromkeys(("stranger", "owner", "installer", "balancer", "controls"), 403),
    "office": 200,
}
NEW_PROJECT = {
    "key": "cedar",
    "name": "Cedar Hall",
    "display_system": "ip",
    "time_zone": "UTC",
    "elevation_m": 100,
}
SIGNED_IN = everyone(anonymous=302)
ENTRIES = [
    Entry("home", SIGNED_IN, arguments=nothing),
    Entry("status", SIGNED_IN, arguments=nothing),
    Entry("healthz", everyone(anonymous=200), arguments=nothing),
    Entry("schema", everyone(anonymous=401), arguments=nothing),
    Entry("api-docs", everyone(anonymous=401), arguments=nothing),
    Entry("calculators", SIGNED_IN, arguments=nothing),
    Entry("calculator", SIGNED_IN, arguments=formula),
    Entry("site-api:calculators", everyone(anonymous=401), arguments=nothing),
    Entry("site-api:calculator", everyone(anonymous=401), arguments=formula),
    Entry(
        "site-api:calculator",
        everyone(400, anonymous=401),  # it needs inputs; nobody is refused
        "POST",
        arguments=formula,
        data={"inputs": {"no-such-input": 1}},
    ),
    Entry("site-api:status", everyone(anonymous=401), arguments=nothing),
    Entry("accounts:sign-in", everyone(302, anonymous=200), arguments=nothing),
    Entry("accounts:sign-out", everyone(405, anonymous=302), arguments=nothing),
    Entry("accounts:sign-out", everyone(302, anonymous=302), "POST", arguments=nothing),
    Entry("accounts:join", everyone(404, anonymous=404), arguments=nothing),
    Entry("accounts:account", SIGNED_IN, arguments=nothing),
    Entry("accounts:password", SIGNED_IN, arguments=nothing),
    Entry("accounts:tokens", SIGNED_IN, arguments=nothing),
    Entry("accounts:revoke-token", everyone(302, anonymous=302), "POST", arguments=own_token),
    Entry("accounts:new-project", CREATOR_ONLY, arguments=nothing),
    Entry("accounts:new-project", CREATOR_ONLY, "POST", arguments=nothing),
    Entry("accounts:project", page()),
    Entry("accounts:settings", page(to=OFFICE)),
    Entry("accounts:settings", page(to=OFFICE), "POST", data={"name": ""}),
    Entry("accounts:people", page(to=OFFICE)),
    Entry("accounts:invite", page(to=OFFICE)),
    Entry("accounts:invite", page(to=OFFICE), "POST", data={"invited_name": ""}),
    Entry("accounts:member", page(to=OFFICE), arguments=helper_in),
    Entry("accounts:member", page(302, to=OFFICE), "POST", helper_in, {"role": "owner"}),
    Entry("accounts:remove-member", page(to=OFFICE), arguments=helper_in),
    Entry("accounts:remove-member", page(302, to=OFFICE), "POST", helper_in),
    Entry("accounts:password-link", page(to=OFFICE), "POST", helper_in),
    Entry("accounts:withdraw-link", page(302, to=OFFICE), "POST", link_in),
    Entry("accounts-api:me", everyone(anonymous=401), arguments=nothing),
    Entry(
        "accounts-api:me",
        everyone(anonymous=401),
        "PATCH",
        arguments=nothing,
        data={"reading_system": "si"},
    ),
    Entry("accounts-api:password", everyone(400, anonymous=401), "POST", arguments=nothing),
    Entry("accounts-api:tokens", everyone(anonymous=401), arguments=nothing),
    Entry(
        "accounts-api:tokens",
        everyone(201, anonymous=401),
        "POST",
        arguments=nothing,
        data={"label": "logger"},
    ),
    Entry("accounts-api:token", everyone(204, anonymous=401), "DELETE", arguments=own_token),
    Entry("accounts-api:join", everyone(400, anonymous=401), "POST", arguments=nothing),
    # Whoever holds a link is let in by the link, so nobody is refused before it is looked at.
    Entry("accounts-api:join-new-person", everyone(400, anonymous=400), "POST", arguments=nothing),
    Entry("accounts-api:choose-password", everyone(400, anonymous=400), "POST", arguments=nothing),
    Entry("accounts-api:projects", everyone(anonymous=401), arguments=nothing),
    Entry(
        "accounts-api:projects",
        {**everyone(403, anonymous=401), "office": 201},
        "POST",
        arguments=nothing,
        data=NEW_PROJECT,
    ),
    Entry("accounts-api:project", api()),
    Entry(
        "accounts-api:project",
        api(to=OFFICE),
        "PATCH",
        data={"version": 1, "settings": {"number": "7"}},
    ),
    Entry("accounts-api:people", api(to=OFFICE)),
    Entry("accounts-api:member", api(to=OFFICE), arguments=helper_in),
    Entry("accounts-api:member", api(to=OFFICE), "PUT", helper_in, {"role": "owner"}),
    Entry("accounts-api:member", api(204, to=OFFICE), "DELETE", helper_in),
    Entry("accounts-api:password-link", api(201, to=OFFICE), "POST", helper_in),
    Entry("accounts-api:invitations", api(to=OFFICE)),
    Entry(
        "accounts-api:invitations",
        api(201, to=OFFICE),
        "POST",
        data={"invited_name": "Someone", "role": "owner"},
    ),
    Entry("accounts-api:invitation", api(204, to=OFFICE), "DELETE", link_in),
]
