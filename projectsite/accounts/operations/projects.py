"""Projects: make one, change its settings."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any
from zoneinfo import available_timezones

from django.db import IntegrityError, transaction

from projectsite.accounts.access import Action, scope_by_id
from projectsite.accounts.domain.types import ProjectSettings
from projectsite.accounts.models import Membership, Project, RoleChoice, User
from projectsite.accounts.operations.validation import LOOK_AGAIN, refuse_invalid
from projectsite.accounts.queries import SETTING_NAMES, settings_at_version
from projectsite.core import beginnings
from projectsite.core.errors import Conflict, Forbidden, InvalidInput
from projectsite.core.numeric import same
from projectsite.core.scope import Person, Scope


@transaction.atomic
def create_project(
    person: Person,
    *,
    key: str,
    name: str,
    number: str,
    site_address: str,
    display_system: str,
    time_zone: str,
    elevation_m: float,
    at: datetime,
) -> str:
    """Store a new project whose office is this person; gives its key.

    What a project begins with is stored with it, or nothing is.

    Raises
    ------
    Forbidden
        The person may not create projects.
    InvalidInput
        A field is wrong or the short name is taken.
    """
    creator = User.objects.select_for_update().get(pk=person.id)
    if not creator.may_create_projects:
        raise Forbidden("You may not create projects here. Ask whoever looks after this site.")
    _refuse_unknown_zone(time_zone)
    project = Project(
        key=key.strip(),
        name=name.strip(),
        number=number.strip(),
        site_address=site_address.strip(),
        display_system=display_system,
        time_zone=time_zone,
        elevation_m=elevation_m,
    )
    refuse_invalid(project)
    try:
        with transaction.atomic():
            project.save()
    except IntegrityError as error:  # someone took the name since it was checked
        raise InvalidInput(LOOK_AGAIN, fields={"key": "This short name is taken."}) from error
    Membership.objects.create(user=creator, project=project, role=RoleChoice.OFFICE)
    beginnings.begin(scope_by_id(creator.pk, project.pk), at)
    return project.key


@transaction.atomic
def update_project(scope: Scope, *, version: int, settings: ProjectSettings) -> int:
    """Store new settings of the project; gives the new version.

    Parameters
    ----------
    version
        The version that the person saw.

    Raises
    ------
    Conflict
        Someone else changed the project since; ``fields`` names what differs now.
    InvalidInput
        A value is out of range.
    """
    scope.require(Action.EDIT_PROJECT)
    project = Project.objects.select_for_update().get(pk=scope.project.id)
    if project.version != version:
        raise _conflict(scope, project, version, settings)
    _refuse_unknown_zone(settings.time_zone)
    changed = [
        name
        for name, value in asdict(settings).items()
        if not _is_same(getattr(project, name), value)
    ]
    if not changed:
        return project.version
    for name in changed:
        setattr(project, name, getattr(settings, name))
    project.version += 1
    refuse_invalid(project, unchecked={"key"})
    project.save(update_fields=[*changed, "version"])
    return project.version


def _is_same(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, float | int):
        return same(a, float(b))
    return bool(a == b)


def _conflict(scope: Scope, project: Project, seen: int, wanted: ProjectSettings) -> Conflict:
    """Name what others changed since the person looked and what would be overwritten."""
    before = settings_at_version(scope, seen)
    touched = [
        name
        for name in SETTING_NAMES
        if (before is None or not _is_same(before[name], getattr(project, name)))
        and not _is_same(getattr(wanted, name), getattr(project, name))
    ]
    fields = dict.fromkeys(touched, "Someone else changed this meanwhile.")
    labels = ", ".join(_label(name) for name in touched)
    what = f" What differs from yours now: {labels}." if touched else ""
    return Conflict(
        f"Someone else saved these settings since you opened them.{what} "
        "Nothing was overwritten. Look at both and save again.",
        fields=fields,
    )


def _label(name: str) -> str:
    field = Project._meta.get_field(name)  # noqa: SLF001  # documented by Django
    return str(getattr(field, "verbose_name", name))


def _refuse_unknown_zone(name: str) -> None:
    if name not in available_timezones():
        raise InvalidInput(
            LOOK_AGAIN,
            fields={
                "time_zone": f"“{name}” is not a time zone. Use a name such as America/Denver."
            },
        )
