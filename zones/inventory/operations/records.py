"""What every change of a record has in common: lock, compare versions, check, save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from django.db import models

from projectsite.core import units
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.numeric import same
from projectsite.core.quantities import KINDS
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.inventory.domain.checks import problems
from zones.inventory.domain.fields import Field
from zones.inventory.domain.types import Change
from zones.inventory.queries.history import changed_since

Record = TypeVar("Record", bound=models.Model)
Given = Mapping[str, Any]
"""Values by field name: ``Entered`` or an SI number for a quantity, an id for a link, text."""


def locked(
    scope: Scope, model: type[Record], record_id: int, *, version: int | None, noun: str
) -> Record:
    """Lock a record of the project (or of the library) and refuse a stale version.

    Raises
    ------
    NotFound
        No such record here.
    Conflict
        The record changed since ``version``; the message says what changed.
    """
    where: dict[str, Any] = {"pk": record_id}
    if hasattr(model, "project_id"):
        where["project_id"] = scope.project.id
    record = model._default_manager.select_for_update().filter(**where).first()  # noqa: SLF001  # the public manager of any model
    if record is None:
        raise NotFound(f"There is no such {noun} here.")
    if version is not None and record.version != version:  # type: ignore[attr-defined]  # every editable record has one
        since = changed_since(scope, model, record_id, version)
        told = "; ".join(described(scope, change) for change in since) or "something changed"
        raise Conflict(
            f"This {noun} was changed since you opened it: {told}. What you typed is kept; "
            "look at it again and save, or cancel."
        )
    return record


def described(scope: Scope, change: Change) -> str:
    """Say one change in words, in the reader's units."""
    by = f" by {change.who}" if change.who else ""
    if not change.field:
        return f"{change.what}{by}"
    old, new = shown(scope, change.old, change.kind), shown(scope, change.new, change.kind)
    return f"{change.label} {old} → {new}{by}"


def shown(scope: Scope, value: Any, kind: str) -> str:
    """Print a value of a field with its unit."""
    if value is None or value == "":
        return "empty"
    if kind in KINDS and isinstance(value, int | float):
        return units.show(float(value), kind, scope.system, with_unit=True)
    return str(value)


def put(scope: Scope, record: models.Model, fields: Sequence[Field], given: Given) -> bool:
    """Put the given values on a record and tell whether anything changed.

    A field that is not given stays as it is. The text of a quantity is kept as typed while
    its value stands.

    Raises
    ------
    InvalidInput
        A value that can't be taken; messages by field name.
    """
    known = {field.name: field for field in fields if field.is_stored}
    for name in given:
        if name not in known:
            raise InvalidInput(f"There is no field {name} here.", fields={name: "Unknown field."})
    texts: dict[str, str] | None = getattr(record, "entered", None)
    is_changed = False
    for name, value in given.items():
        field = known[name]
        plain, text = (value.value, value.text) if isinstance(value, Entered) else (value, "")
        if field.is_text:
            plain = str(plain or "").strip() or (field.default or "")
        elif plain is None and field.default is not None:
            plain = field.default
        before = getattr(record, field.column)
        is_same = same(before, plain) if _is_number(before, plain) else before == plain
        if not is_same:
            setattr(record, field.column, plain)
            is_changed = True
        if texts is not None and field.is_quantity:
            is_changed |= _keep_text(texts, name, text, is_same=is_same)
    _refuse_problems(scope, record, list(known.values()))
    return is_changed


def _is_number(*values: Any) -> bool:
    return all(value is None or isinstance(value, int | float) for value in values)


def _keep_text(texts: dict[str, str], name: str, text: str, *, is_same: bool) -> bool:
    """Keep what was typed, or drop what no longer belongs to the value."""
    before = texts.get(name, "")
    after = text or (before if is_same else "")
    if after:
        texts[name] = after
    else:
        texts.pop(name, None)
    return before != after


def _refuse_problems(scope: Scope, record: models.Model, fields: Sequence[Field]) -> None:
    values = {field.name: getattr(record, field.column) for field in fields}
    found = problems(fields, values, show=lambda value, kind: shown(scope, value, kind))
    if found:
        labels = {field.name: field.label for field in fields}
        told = " ".join(f"{labels[name]}: {message}" for name, message in found.items())
        raise InvalidInput(told, fields=found)


def save(record: models.Model, *, tag_field: str = "tag") -> None:
    """Check the whole record against its table's rules and store it."""
    # A tag that is taken is told by the constraint for the whole record.
    checked_save(record, of_field={"already": tag_field})


def bump(record: models.Model) -> None:
    """Count the change."""
    record.version += 1  # type: ignore[attr-defined]  # every editable record has one


def in_project(scope: Scope, model: type[models.Model], record_id: int | None, field: str) -> None:
    """Refuse a link to a record that is not in the project, or that is archived."""
    if record_id is None:
        return
    where: dict[str, Any] = {"pk": record_id, "archived_at": None}
    if hasattr(model, "project_id"):
        where["project_id"] = scope.project.id
    if not model._default_manager.filter(**where).exists():  # noqa: SLF001  # the public manager of any model
        message = "Choose one of this project that is in use."
        raise InvalidInput(message, fields={field: message})
