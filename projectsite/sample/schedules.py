"""The received files of the sample project, imported as the office would import them."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from balancing.airflow.operations import instruments
from projectsite.core import units
from projectsite.core.errors import ApplicationError
from projectsite.core.scope import Scope
from zones.inventory.domain.schedule.types import Layout
from zones.inventory.imports import work
from zones.inventory.operations import (
    applying,
    change_unit,
    load_starter_library,
    set_on_units,
)
from zones.inventory.operations import imports as operations
from zones.inventory.queries import controller_models, unit_facts, unit_ids
from zones.inventory.queries import imports as queries

NETWORK = 201


def import_file(
    scope: Scope, path: Path, *, target: str, label: str, at: datetime
) -> applying.Applied:
    """Import a file as it is proposed, all good rows of it.

    Raises
    ------
    ApplicationError
        The file was not understood without a person; the sample's files always are.
    """
    import_id = work.receive(
        scope, name=path.name, content=path.read_bytes(), target=target, label=label, at=at
    )
    found = queries.import_facts(scope, import_id)
    proposed: list[dict[str, Any]] = found.proposal["columns"]
    operations.store_mapping(
        scope,
        import_id=import_id,
        version=found.version,
        layout=Layout(
            found.heading_row or 1,
            found.heading_end_row or 1,
            found.units_row or 0,
            found.first_row or 2,
            found.last_row or 2,
        ),
        columns=[
            operations.MappedColumn(c["index"], c["heading"], c["field"], c["unit"])
            for c in proposed
            if c["field"]
        ],
        box_model_id=None,
        is_na_empty=False,
    )
    work.start(scope, import_id, task="preview", words="Reading the rows")
    found = queries.import_facts(scope, import_id)
    if found.state != "preview":
        raise ApplicationError(f"{path.name} could not be read: {found.work_words}")
    return applying.apply_import(
        scope, import_id=import_id, version=found.version, is_whole=False, at=at
    )


def add_library(scope: Scope, fixtures: Path) -> None:
    """Add the generic starter library."""
    load_starter_library(scope, path=fixtures / "library.json")


def add_instruments(scope: Scope, fixtures: Path, *, today: date) -> dict[str, int]:
    """Add the instruments, their calibration moved along with today; ids by name.

    The second hood is overdue on purpose.
    """
    described = json.loads((fixtures / "library.json").read_text(encoding="utf-8"))["instruments"]
    added: dict[str, int] = {}
    for item in described:
        due = date.fromisoformat(item["due on"])
        calibrated = date.fromisoformat(item["calibrated on"])
        # As it stands in the file on the day that the file speaks of.
        shift = today - date(2026, 11, 25)
        is_hood = item["kind"] == "hood"
        floor = units.parse(
            item["accuracy floor"],
            "airflow" if is_hood else "pressure",
            default_unit="cubic_foot_per_minute" if is_hood else "inch_water",
        )
        accuracy = units.parse(item["accuracy"], "fraction", default_unit="percent")
        added[item["name"]] = instruments.add_instrument(
            scope,
            values={
                "kind": item["kind"],
                "name": item["name"],
                "serial": item["serial"],
                "accuracy_fraction": accuracy.value,
                "accuracy_floor_si": floor.value,
                "calibrated_date": calibrated + shift,
                "due_date": due + shift,
            },
        )
    return added


def choose_controllers(scope: Scope) -> None:
    """Give every unit the first controller model of the library, and the first trunk addresses.

    The addresses follow the order of the tags; the second air handler's are still to come.
    """
    chosen = controller_models(scope)[0].id
    set_on_units(scope, unit_ids=unit_ids(scope), field="controller_model", value=chosen)
    facts = [f for f in unit_facts(scope, unit_ids(scope)) if f.air_handler == "AHU-1"]
    for place, unit in enumerate(sorted(facts, key=lambda f: f.sort_key), start=1):
        change_unit(
            scope,
            unit_id=unit.id,
            version=unit.version,
            values={
                "network_number": NETWORK,
                "mac_address": place,
                "device_instance": NETWORK * 1000 + place,
            },
        )


def days_before(at: datetime, days: float) -> datetime:
    """Give the moment this many days before ``at``."""
    return at - timedelta(days=days)
