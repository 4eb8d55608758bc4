"""Change logs out of the events that the database's triggers keep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from django.contrib.auth import get_user_model
from django.db import models

from projectsite.core.scope import Scope
from zones.inventory.domain.fields import (
    AIR_HANDLER_FIELDS,
    BOX_MODEL_FIELDS,
    CONTROLLER_FIELDS,
    INLET_FIELDS,
    OUTLET_FIELDS,
    UNIT_FIELDS,
    ZONE_FIELDS,
    Field,
)
from zones.inventory.domain.types import Change
from zones.inventory.models import (
    AirHandler,
    BoxInlet,
    BoxModel,
    ControllerModel,
    Outlet,
    TerminalUnit,
    Zone,
)

FIELDS_OF: Mapping[type[models.Model], tuple[Field, ...]] = {
    TerminalUnit: UNIT_FIELDS,
    Outlet: OUTLET_FIELDS,
    AirHandler: AIR_HANDLER_FIELDS,
    Zone: ZONE_FIELDS,
    BoxModel: BOX_MODEL_FIELDS,
    BoxInlet: INLET_FIELDS,
    ControllerModel: CONTROLLER_FIELDS,
}
_LOG_LIMIT = 400
_INSERTED, _DELETED = "insert", "delete"


def _events(model: type[models.Model], **where: Any) -> list[dict[str, Any]]:
    """The newest events of these records, oldest first."""
    stored = [field.column for field in FIELDS_OF[model] if field.is_stored]
    state = [name for name in ("archived_at", "version") if _has(model, name)]
    event_model: type[models.Model] = model.pgh_event_model  # type: ignore[attr-defined]  # set by the tracker
    rows = event_model._default_manager.filter(**where).order_by("-pgh_id")  # noqa: SLF001  # public manager of a generated class
    listed = rows.values(
        "id",
        "pgh_id",
        "pgh_label",
        "pgh_created_at",
        "pgh_context__metadata",
        *stored,
        *state,
    )[:_LOG_LIMIT]
    return sorted(listed, key=lambda event: (event["id"], event["pgh_id"]))


def _has(model: type[models.Model], name: str) -> bool:
    return hasattr(model, name)


def _where(metadata: Mapping[str, Any]) -> str:
    if metadata.get("source"):
        return str(metadata["source"])
    url = str(metadata.get("url", ""))
    if not url:
        return "program"
    if url.startswith("/api/"):
        return "API"
    return "schedule import" if "/imports/" in url else "page"


class _Names:
    """Tags and names of linked records and people, fetched once for a whole log."""

    def __init__(self, scope: Scope, events: Iterable[Mapping[str, Any]]) -> None:
        listed = list(events)
        wanted = {
            column: {e[column] for e in listed if e.get(column) is not None}
            for column in ("air_handler_id", "zone_id", "inlet_id", "controller_model_id")
        }
        project = scope.project.id
        self._links: dict[str, dict[int, str]] = {
            "air_handler_id": dict(
                AirHandler.objects.filter(
                    project_id=project, id__in=wanted["air_handler_id"]
                ).values_list("id", "tag")
            ),
            "zone_id": dict(
                Zone.objects.filter(project_id=project, id__in=wanted["zone_id"]).values_list(
                    "id", "tag"
                )
            ),
            "inlet_id": {
                key: f"{model}, {label}"
                for key, model, label in BoxInlet.objects.filter(
                    id__in=wanted["inlet_id"]
                ).values_list("id", "box_model__name", "label")
            },
            "controller_model_id": dict(
                ControllerModel.objects.filter(id__in=wanted["controller_model_id"]).values_list(
                    "id", "name"
                )
            ),
        }
        people = {
            user
            for e in listed
            if isinstance(user := (e["pgh_context__metadata"] or {}).get("user"), int)
        }
        users = get_user_model().objects.filter(id__in=people)
        self._people: dict[int, str] = dict(users.values_list("id", "full_name"))

    def who(self, metadata: Mapping[str, Any]) -> str:
        """Name of the person who made a change."""
        return self._people.get(metadata.get("user", 0), "")

    def value(self, field: Field, value: Any) -> str | float | None:
        """Value of a field as a person names it."""
        if field.kind == "link":
            if value is None:
                return None
            return self._links[field.column].get(value, f"record {value}")
        if field.choices and isinstance(value, str):
            return dict(field.choices).get(value, value)
        shown: str | float | None = value
        return shown


def _log(
    model: type[models.Model], events: Sequence[dict[str, Any]], names: _Names, part: str = ""
) -> list[Change]:
    """Turn the events of one kind of record into lines, oldest first."""
    stored = [field for field in FIELDS_OF[model] if field.is_stored]
    lines: list[Change] = []
    for _, of_record in groupby(events, key=lambda event: event["id"]):
        before: dict[str, Any] | None = None
        for event in of_record:
            metadata = event["pgh_context__metadata"] or {}
            tag = event.get("tag") or event.get("label") or ""
            base = {
                "at": event["pgh_created_at"],
                "who": names.who(metadata),
                "where": _where(metadata),
                "record": f"{part} {tag}".strip() if part else "",
            }
            if event["pgh_label"] in {_INSERTED, _DELETED}:
                what = "added" if event["pgh_label"] == _INSERTED else "removed"
                lines.append(Change(**base, what=what))
            elif before is not None:
                if event.get("archived_at") != before.get("archived_at"):
                    what = "archived" if event["archived_at"] else "restored"
                    lines.append(Change(**base, what=what))
                lines += [
                    Change(
                        **base,
                        what="changed",
                        field=field.name,
                        label=field.label,
                        kind=field.kind,
                        old=names.value(field, before[field.column]),
                        new=names.value(field, event[field.column]),
                    )
                    for field in stored
                    if event[field.column] != before[field.column]
                ]
            before = event
    return lines


def unit_log(scope: Scope, unit_id: int) -> list[Change]:
    """Change log of a unit and its outlets, newest first, in eight queries at most."""
    project = scope.project.id
    units = _events(TerminalUnit, id=unit_id, project_id=project)
    outlets = _events(Outlet, unit_id=unit_id, project_id=project)
    names = _Names(scope, [*units, *outlets])
    lines = _log(TerminalUnit, units, names) + _log(Outlet, outlets, names, "outlet")
    # Changes of one transaction bear one time; the later one still comes first.
    lines.reverse()
    return sorted(lines, key=lambda line: line.at, reverse=True)


def changed_since(
    scope: Scope, model: type[models.Model], record_id: int, version: int
) -> list[Change]:
    """What changed in a record after this version of it, oldest first."""
    events = _events(model, id=record_id)
    kept = [event for event in events if event.get("version", 0) >= version]
    return _log(model, kept, _Names(scope, kept))
