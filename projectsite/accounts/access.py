"""Who may do what. The only module that builds a ``Scope``."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, Protocol, cast

from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.http import HttpRequest

from projectsite.accounts.models import RoleChoice, User
from projectsite.core.errors import Forbidden, NotFound
from projectsite.core.scope import Person, ProjectFacts, Scope, Tolerances, UnitSystem


class Action(StrEnum):
    """Everything that a role can be allowed to do in a project."""

    SEE = "see"
    EDIT_PROJECT = "edit-project"
    MANAGE_PEOPLE = "manage-people"
    EDIT_LIBRARY = "edit-library"
    EDIT_INVENTORY = "edit-inventory"
    IMPORT_SCHEDULE = "import-schedule"
    EDIT_INSTRUMENTS = "edit-instruments"
    ENTER_READINGS = "enter-readings"
    ACCEPT_TEST = "accept-test"
    SEE_TESTS = "see-tests"
    DRAFT_DOCUMENT = "draft-document"
    DRAFT_TEST_SHEET = "draft-test-sheet"
    ISSUE_DOCUMENT = "issue-document"
    DOWNLOAD_ISSUED = "download-issued"
    MARK_STEPS = "mark-steps"
    PLAN_WORK = "plan-work"
    CHECK_OUT = "check-out"
    OPEN_PUNCH = "open-punch"
    ANSWER_PUNCH = "answer-punch"
    VERIFY_PUNCH = "verify-punch"
    ADD_FILE = "add-file"
    PLACE_UNITS = "place-units"


_OFFICE = frozenset(Action)
GRANTS: dict[str, frozenset[Action]] = {
    RoleChoice.OFFICE: _OFFICE,
    RoleChoice.CONTROLS: frozenset(
        {
            Action.SEE,
            Action.SEE_TESTS,
            Action.DRAFT_DOCUMENT,
            Action.DRAFT_TEST_SHEET,
            Action.DOWNLOAD_ISSUED,
            Action.MARK_STEPS,
            Action.CHECK_OUT,
            Action.OPEN_PUNCH,
            Action.ANSWER_PUNCH,
            Action.VERIFY_PUNCH,
            Action.ADD_FILE,
            Action.PLACE_UNITS,
        }
    ),
    RoleChoice.BALANCER: frozenset(
        {
            Action.SEE,
            Action.SEE_TESTS,
            Action.ENTER_READINGS,
            Action.EDIT_INSTRUMENTS,
            Action.DRAFT_TEST_SHEET,
            Action.DOWNLOAD_ISSUED,
            Action.MARK_STEPS,
            Action.OPEN_PUNCH,
            Action.ANSWER_PUNCH,
            Action.VERIFY_PUNCH,
            Action.ADD_FILE,
        }
    ),
    RoleChoice.INSTALLER: frozenset(
        {
            Action.SEE,
            Action.MARK_STEPS,
            Action.OPEN_PUNCH,
            Action.ANSWER_PUNCH,
            Action.VERIFY_PUNCH,
            Action.ADD_FILE,
        }
    ),
    RoleChoice.OWNER: frozenset(
        {
            Action.SEE,
            Action.SEE_TESTS,
            Action.DOWNLOAD_ISSUED,
            Action.OPEN_PUNCH,
            Action.VERIFY_PUNCH,
            Action.ADD_FILE,
        }
    ),
}
"""What each role may do; the table of the README is checked against it."""
_ACTIONS = {role: frozenset(action.value for action in granted) for role, granted in GRANTS.items()}
_TRADE_OF_ROLE: dict[str, str] = {
    RoleChoice.OFFICE: "office",
    RoleChoice.CONTROLS: "controls",
    RoleChoice.BALANCER: "balancer",
}


class ScopedRequest(Protocol):
    """A page or API request that carries the person and takes the scope along."""

    user: AbstractBaseUser | AnonymousUser


_FACTS = ("id", "key", "number", "name", "system", "time_zone", "elevation_m", "status")
# By hand, because this stands in every request and the ORM takes longer to put it together
# than the database to answer it.
_MEMBERSHIP = """
SELECT m.role, m.trade, u.id, u.full_name, u.reading_system,
    p.id, p.key, p.number, p.name, p.display_system, p.time_zone, p.elevation_m, p.status,
    p.unit_over_fraction, p.unit_under_fraction, p.outlet_over_fraction, p.outlet_under_fraction,
    p.tolerance_floor_m3_s, p.agreement_fraction, p.readable_pressure_pa, p.hood_minimum_m3_s,
    p.inlet_velocity_limit_m_s, p.guard_band
FROM accounts_membership m
JOIN accounts_user u ON u.id = m.user_id AND u.is_active
JOIN accounts_project p ON p.id = m.project_id
WHERE m.user_id = %s AND
"""


def _scope(user_id: int, project_is: str, project: int | str) -> Scope:
    """Give the scope of an active member; NotFound for everyone else."""
    with connection.cursor() as cursor:
        cursor.execute(f"{_MEMBERSHIP} {project_is} = %s", [user_id, project])
        row = cursor.fetchone()
    if row is None:
        raise NotFound("There is no such project, or you are not a member of it.")
    facts: list[Any]
    role, trade, person_id, name, reading_system, *facts = row
    return Scope(
        person=Person(person_id, name, cast("UnitSystem | None", reading_system or None)),
        project=ProjectFacts(
            **dict(zip(_FACTS, facts[: len(_FACTS)], strict=True)),
            tolerances=Tolerances(*facts[len(_FACTS) :]),
        ),
        role=role,
        actions=_ACTIONS[role],
        trade=trade or _TRADE_OF_ROLE.get(role, ""),
    )


def scope_for(request: ScopedRequest | HttpRequest, project_key: str, action: Action) -> Scope:
    """Decide whether the signed-in person may do this in the project, in one query.

    The scope is also put on the request, for the frame of the page.

    Raises
    ------
    NotFound
        No such project, or the person is not a member of it.
    Forbidden
        A member whose role does not include the action.
    """
    scope = scope_of(request.user.pk or 0, project_key)
    request.scope = scope  # type: ignore[union-attr]  # requests take attributes; the frame reads it
    scope.require(action)
    return scope


def scope_of(user_id: int, project_key: str) -> Scope:
    """Give the scope of a person in a project; NotFound when not an active member."""
    return _scope(user_id, "p.key", project_key)


def scope_by_id(user_id: int, project_id: int) -> Scope:
    """Give the scope of a person in a project by the project's id, for jobs and commands."""
    return _scope(user_id, "p.id", project_id)


def person_of(request: ScopedRequest | HttpRequest) -> Person:
    """Give the signed-in person, for what belongs to a person and not to a project."""
    if not isinstance(request.user, User):
        raise Forbidden("Sign in first.")
    user = request.user
    return Person(user.pk, user.full_name, cast("UnitSystem | None", user.reading_system or None))


def require_creator(user: AbstractBaseUser | AnonymousUser) -> User:
    """Refuse a person who may not create projects."""
    if not isinstance(user, User) or not user.may_create_projects:
        raise Forbidden("You may not create projects here. Ask whoever looks after this site.")
    return user
