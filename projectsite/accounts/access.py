"""Who may do what. The only module that builds a ``Scope``."""

from __future__ import annotations

from enum import StrEnum
from typing import Protocol, cast

from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest

from projectsite.accounts.models import Membership, Project, RoleChoice, User
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
        }
    ),
    RoleChoice.INSTALLER: frozenset({Action.SEE}),
    RoleChoice.OWNER: frozenset({Action.SEE, Action.SEE_TESTS, Action.DOWNLOAD_ISSUED}),
}
"""What each role may do; the table of the README is checked against it."""


class ScopedRequest(Protocol):
    """A page or API request that carries the person and takes the scope along."""

    user: AbstractBaseUser | AnonymousUser


def _person(user: User) -> Person:
    return Person(user.pk, user.full_name, cast("UnitSystem | None", user.reading_system or None))


def _facts(project: Project) -> ProjectFacts:
    return ProjectFacts(
        id=project.pk,
        key=project.key,
        number=project.number,
        name=project.name,
        system=cast("UnitSystem", project.display_system),
        time_zone=project.time_zone,
        elevation_m=project.elevation_m,
        status=project.status,
        tolerances=Tolerances(
            unit_over=project.unit_over_fraction,
            unit_under=project.unit_under_fraction,
            outlet_over=project.outlet_over_fraction,
            outlet_under=project.outlet_under_fraction,
            floor_m3_s=project.tolerance_floor_m3_s,
            agreement=project.agreement_fraction,
            readable_pressure_pa=project.readable_pressure_pa,
            hood_minimum_m3_s=project.hood_minimum_m3_s,
            inlet_velocity_limit_m_s=project.inlet_velocity_limit_m_s,
            guard_band=project.guard_band,
        ),
    )


def _scope(membership: Membership) -> Scope:
    return Scope(
        person=_person(membership.user),
        project=_facts(membership.project),
        role=membership.role,
        actions=frozenset(action.value for action in GRANTS[membership.role]),
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
    membership = (
        Membership.objects.select_related("user", "project")
        .filter(user_id=user_id, user__is_active=True, project__key=project_key)
        .first()
    )
    if membership is None:
        raise NotFound("There is no such project, or you are not a member of it.")
    return _scope(membership)


def scope_by_id(user_id: int, project_id: int) -> Scope:
    """Give the scope of a person in a project by the project's id, for jobs and commands."""
    membership = (
        Membership.objects.select_related("user", "project")
        .filter(user_id=user_id, user__is_active=True, project_id=project_id)
        .first()
    )
    if membership is None:
        raise NotFound("There is no such project, or the person is not a member of it.")
    return _scope(membership)


def person_of(request: ScopedRequest | HttpRequest) -> Person:
    """Give the signed-in person, for what belongs to a person and not to a project."""
    if not isinstance(request.user, User):
        raise Forbidden("Sign in first.")
    return _person(request.user)


def require_creator(user: AbstractBaseUser | AnonymousUser) -> User:
    """Refuse a person who may not create projects."""
    if not isinstance(user, User) or not user.may_create_projects:
        raise Forbidden("You may not create projects here. Ask whoever looks after this site.")
    return user
