"""The people of the sample project, one for each role and trade, with random passwords."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime

from projectsite.accounts.access import scope_of
from projectsite.accounts.domain.codes import Code
from projectsite.accounts.operations import joining, people, projects
from projectsite.core.scope import Person, Scope

# No l, 1, o or 0: the password is read from one screen and typed on another.
ALPHABET = "abcdefghijkmnpqrstuvwxyz23456789"
GROUPS, GROUP_LENGTH = 4, 4


@dataclass(frozen=True, slots=True)
class SamplePerson:
    """A person of the sample project before joining."""

    username: str
    full_name: str
    role: str
    trade: str = ""


CAST = (
    SamplePerson("office", "Ines Calder", "office"),
    SamplePerson("controls", "Tobin Marsh", "controls"),
    SamplePerson("balancer", "Wren Osgood", "balancer"),
    SamplePerson("installer", "Pell Hargrove", "installer", "mechanical"),
    SamplePerson("electrician", "Odile Fenwick", "installer", "electrical"),
    SamplePerson("owner", "Marit Lindqvist", "owner"),
)
"""Invented names. The first person may create projects."""


@dataclass(frozen=True, slots=True)
class SignIn:
    """How one of the sample people signs in."""

    username: str
    password: str
    full_name: str
    role: str
    person: Person


def new_password() -> str:
    """Make a password of 80 random bits, in groups that are easy to type."""
    letters = [secrets.choice(ALPHABET) for _ in range(GROUPS * GROUP_LENGTH)]
    return "-".join(
        "".join(letters[start : start + GROUP_LENGTH])
        for start in range(0, len(letters), GROUP_LENGTH)
    )


def first_person(*, at: datetime) -> SignIn:
    """Let the office person in by the link for the first person of a site."""
    chosen, password = CAST[0], new_password()
    code = Code(secrets.token_urlsafe(32))
    joining.issue_first_link(digest=code.digest, at=at)
    joined = joining.join_as_new_person(
        code=code.plain,
        username=chosen.username,
        full_name=chosen.full_name,
        password=password,
        at=at,
    )
    person = Person(joined.user_id, chosen.full_name)
    return SignIn(chosen.username, password, chosen.full_name, chosen.role, person)


def invite_the_others(scope: Scope, *, at: datetime) -> list[SignIn]:
    """Invite one person for each other role and let each use the link."""
    found: list[SignIn] = []
    for person in CAST[1:]:
        code, password = Code(secrets.token_urlsafe(32)), new_password()
        people.invite(
            scope,
            invited_name=person.full_name,
            role=person.role,
            trade=person.trade,
            digest=code.digest,
            at=at,
        )
        joined = joining.join_as_new_person(
            code=code.plain,
            username=person.username,
            full_name=person.full_name,
            password=password,
            at=at,
        )
        known = Person(joined.user_id, person.full_name)
        found.append(SignIn(person.username, password, person.full_name, person.role, known))
    return found


def invite_again(scope: Scope, others: list[SignIn], *, at: datetime) -> None:
    """Let the sample people join a second project by links of their own."""
    for person, known in zip(CAST[1:], others, strict=True):
        code = Code(secrets.token_urlsafe(32))
        people.invite(
            scope,
            invited_name=person.full_name,
            role=person.role,
            trade=person.trade,
            digest=code.digest,
            at=at,
        )
        joining.join_as(known.person, code=code.plain, at=at)


def new_project(
    person: Person,
    *,
    key: str,
    name: str,
    number: str,
    address: str,
    system: str,
    time_zone: str,
    elevation_m: float,
    at: datetime,
) -> Scope:
    """Create a project as this person and give the person's scope in it."""
    projects.create_project(
        person,
        key=key,
        name=name,
        number=number,
        site_address=address,
        display_system=system,
        time_zone=time_zone,
        elevation_m=elevation_m,
        at=at,
    )
    return scope_of(person.id, key)
