"""The library that projects share: box models with inlets, controller models, starter set."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from projectsite.accounts.access import Action
from projectsite.core import units
from projectsite.core.errors import Conflict
from projectsite.core.scope import Scope
from zones.inventory.domain.fields import BOX_MODEL_FIELDS, CONTROLLER_FIELDS, INLET_FIELDS
from zones.inventory.models import BoxInlet, BoxModel, ControllerModel, TerminalUnit
from zones.inventory.operations.records import Given, bump, locked, put, save

BOX, INLET, CONTROLLER = "box model", "inlet", "controller model"


@transaction.atomic
def add_box_model(scope: Scope, *, values: Given) -> int:
    """Add a box model and give its id."""
    scope.require(Action.EDIT_LIBRARY)
    record = BoxModel()
    put(scope, record, BOX_MODEL_FIELDS, values)
    save(record, tag_field="name")
    return record.pk


@transaction.atomic
def change_box_model(scope: Scope, *, box_model_id: int, version: int, values: Given) -> int:
    """Change a box model's name or note and give its version afterwards."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, BoxModel, box_model_id, version=version, noun=BOX)
    if put(scope, record, BOX_MODEL_FIELDS, values):
        bump(record)
        save(record, tag_field="name")
    return record.version


@transaction.atomic
def archive_box_model(scope: Scope, *, box_model_id: int, at: datetime) -> None:
    """No longer offer a box model; units that have it keep it."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, BoxModel, box_model_id, version=None, noun=BOX)
    if record.archived_at is None:
        record.archived_at = at
        bump(record)
        record.save()


@transaction.atomic
def restore_box_model(scope: Scope, *, box_model_id: int) -> None:
    """Offer an archived box model again."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, BoxModel, box_model_id, version=None, noun=BOX)
    if record.archived_at is not None:
        record.archived_at = None
        bump(record)
        record.save()


@transaction.atomic
def add_inlet(scope: Scope, *, box_model_id: int, values: Given) -> int:
    """Add an inlet size to a box model and give its id."""
    scope.require(Action.EDIT_LIBRARY)
    model = locked(scope, BoxModel, box_model_id, version=None, noun=BOX)
    record = BoxInlet(box_model=model)
    put(scope, record, INLET_FIELDS, values)
    save(record, tag_field="label")
    bump(model)
    model.save()
    return record.pk


@transaction.atomic
def change_inlet(scope: Scope, *, inlet_id: int, version: int, values: Given) -> None:
    """Change an inlet; ``version`` is that of its box model. Tests keep what they used."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, BoxInlet, inlet_id, version=None, noun=INLET)
    model = locked(scope, BoxModel, record.box_model_id, version=version, noun=BOX)
    if put(scope, record, INLET_FIELDS, values):
        save(record, tag_field="label")
        bump(model)
        model.save()


@transaction.atomic
def remove_inlet(scope: Scope, *, inlet_id: int) -> None:
    """Remove an inlet that no unit has, in use or archived, in any project."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, BoxInlet, inlet_id, version=None, noun=INLET)
    model = locked(scope, BoxModel, record.box_model_id, version=None, noun=BOX)
    if TerminalUnit.objects.filter(inlet_id=record.pk).exists():
        raise Conflict("Units have this inlet, so it can't be removed.")
    record.delete()
    bump(model)
    model.save()


@transaction.atomic
def add_controller_model(scope: Scope, *, values: Given) -> int:
    """Add a controller model and give its id."""
    scope.require(Action.EDIT_LIBRARY)
    record = ControllerModel()
    put(scope, record, CONTROLLER_FIELDS, values)
    save(record, tag_field="name")
    return record.pk


@transaction.atomic
def change_controller_model(
    scope: Scope, *, controller_model_id: int, version: int, values: Given
) -> int:
    """Change a controller model and give its version afterwards. Tests keep what they used."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, ControllerModel, controller_model_id, version=version, noun=CONTROLLER)
    if put(scope, record, CONTROLLER_FIELDS, values):
        bump(record)
        save(record, tag_field="name")
    return record.version


@transaction.atomic
def archive_controller_model(scope: Scope, *, controller_model_id: int, at: datetime) -> None:
    """No longer offer a controller model; units that have it keep it."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, ControllerModel, controller_model_id, version=None, noun=CONTROLLER)
    if record.archived_at is None:
        record.archived_at = at
        bump(record)
        record.save()


@transaction.atomic
def restore_controller_model(scope: Scope, *, controller_model_id: int) -> None:
    """Offer an archived controller model again."""
    scope.require(Action.EDIT_LIBRARY)
    record = locked(scope, ControllerModel, controller_model_id, version=None, noun=CONTROLLER)
    if record.archived_at is not None:
        record.archived_at = None
        bump(record)
        record.save()


@dataclass(frozen=True, slots=True)
class StarterAdded:
    """How much of the starter library was new."""

    box_models: int
    inlets: int
    controller_models: int


_INLET_KEYS = {
    "diameter": ("diameter_m", "diameter"),
    "free area": ("free_area_m2", "free_area"),
    "nominal K": ("nominal_k_m3_s_sqrt_pa", "k_factor"),
    "scheduled low": ("scheduled_low_m3_s", "airflow"),
    "scheduled high": ("scheduled_high_m3_s", "airflow"),
}
_CONTROLLER_KEYS = {
    "lowest readable pressure": ("readable_pressure_pa", "pressure"),
    "span": ("span_pa", "pressure"),
    "accuracy": ("accuracy_fraction", "fraction"),
    "accuracy floor": ("accuracy_floor_pa", "pressure"),
}


@transaction.atomic
def load_starter_library(scope: Scope, *, path: Path | None = None) -> StarterAdded:
    """Add the generic starter library; what is there by name already stays as it is.

    Parameters
    ----------
    path
        File to read; the one in ``fixtures/`` when left out.
    """
    scope.require(Action.EDIT_LIBRARY)
    source = path or Path(settings.SITE_ROOT) / "fixtures" / "library.json"
    content: dict[str, Any] = json.loads(source.read_text(encoding="utf-8"))
    models = inlets = controllers = 0
    for entry in content["box models"]:
        model = BoxModel.objects.filter(name__iexact=entry["name"]).first()
        if model is None:
            model = BoxModel.objects.get(pk=add_box_model(scope, values={"name": entry["name"]}))
            models += 1
        there = {label.casefold() for label in model.inlets.values_list("label", flat=True)}
        for inlet in entry["inlets"]:
            if inlet["label"].casefold() not in there:
                values = {"label": inlet["label"], **_read(inlet, _INLET_KEYS)}
                add_inlet(scope, box_model_id=model.pk, values=values)
                inlets += 1
    for entry in content["controller models"]:
        if not ControllerModel.objects.filter(name__iexact=entry["name"]).exists():
            values = {"name": entry["name"], **_read(entry, _CONTROLLER_KEYS)}
            add_controller_model(scope, values=values)
            controllers += 1
    return StarterAdded(models, inlets, controllers)


def _read(entry: Mapping[str, str], keys: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """Read the quantities of an entry; each is written with its unit."""
    return {
        name: units.parse(entry[key], kind, default_unit="")
        for key, (name, kind) in keys.items()
        if key in entry
    }
