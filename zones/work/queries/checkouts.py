"""Checkouts of units: what was seen, how it was judged, and what has changed since."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Q, Value
from django.db.models.functions import Coalesce

from projectsite.core import units
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.checkout import PointFacts, Seen, Show, asked, explain
from zones.work.domain.checkout_lists import caution
from zones.work.models import Checkout, CheckoutPoint, PunchItem

PROFILE: Mapping[str, str] = {
    "controller_model_id": "controller model",
    "heat": "reheat",
    "fan": "fan",
    "discharge_sensor": "discharge sensor",
    "occupancy_sensor": "occupancy sensor",
    "mac_address": "MAC address",
    "device_instance": "device instance",
}
"""What a checkout is made for: fields of a unit and their names."""
OPTIONS = ("controller_model_id", "heat", "fan", "discharge_sensor", "occupancy_sensor")
STATES: Mapping[str, str] = {
    "none": "not begun",
    "in-hand": "in hand",
    "failing": "a point fails",
    "outdated": "unit changed since",
    "complete": "complete",
}
_POINT_COLUMNS = (
    "id",
    "checkout_id",
    "key",
    "name",
    "kind",
    "quantity",
    "tolerance_si",
    "low_si",
    "high_si",
    "expected",
    "source",
    "owes",
    "is_required",
    "observed_si",
    "reference_si",
    "observed_text",
    "is_right",
    "entered",
    "verdict",
    "note",
    "observed_at",
    "version",
)


@dataclass(frozen=True, slots=True)
class ItemRef:
    """A punch item that a point has opened."""

    id: int
    number: int
    state: str


@dataclass(frozen=True, slots=True)
class PointRow:
    """A point of a checkout: what is asked, what was seen (SI) and the verdict.

    ``entered`` holds quantities as typed, by field.
    """

    id: int
    key: str
    name: str
    facts: PointFacts
    seen: Seen
    entered: Mapping[str, str]
    verdict: str
    note: str
    owes: str
    is_required: bool
    observed_by: str
    observed_at: datetime | None
    version: int
    items: tuple[ItemRef, ...] = ()

    @property
    def caution(self) -> str:
        """What to mind before the point is touched; "" when there is nothing special."""
        return caution(self.key)

    def asked(self, scope: Scope) -> str:
        """What is expected, in the reader's units."""
        return asked(self.facts, shower(scope))

    def told(self, scope: Scope) -> str:
        """Why it passes or fails, or what it waits for, in the reader's units."""
        return explain(self.facts, self.seen, shower(scope))


@dataclass(frozen=True, slots=True)
class CheckoutSheet:
    """A whole checkout, for a page or a document.

    Attributes
    ----------
    changed
        What of the unit is another than when the checkout began; it no longer holds then.
    """

    id: int
    unit_id: int
    unit_tag: str
    floor: str
    location: str
    list_name: str
    reference_instrument: str
    note: str
    begun_by: str
    begun_at: datetime
    completed_by: str
    completed_at: datetime | None
    superseded_at: datetime | None
    version: int
    points: tuple[PointRow, ...]
    changed: tuple[str, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of the needed points that are not judged or fail."""
        return tuple(p.name for p in self.points if p.is_required and p.verdict != "pass")

    @property
    def state(self) -> str:
        """One of ``STATES``."""
        fails = any(p.is_required and p.verdict == "fail" for p in self.points)
        return state_of(
            is_complete=self.completed_at is not None,
            has_missing=bool(self.missing),
            has_failed=fails,
            has_changed=bool(self.changed),
        )


def state_of(*, is_complete: bool, has_missing: bool, has_failed: bool, has_changed: bool) -> str:
    """How a checkout stands: one of ``STATES``."""
    if has_changed:
        return "outdated"
    if has_failed:
        return "failing"
    return "complete" if is_complete and not has_missing else "in-hand"


def shower(scope: Scope) -> Show:
    """Print SI values with their unit as this person reads them."""

    def show(value: float, kind: str) -> str:
        return units.show(value, kind, scope.system, with_unit=True)

    return show


def profile_of(unit: UnitOutline) -> dict[str, Any]:
    """What a checkout of this unit is made for."""
    return {name: getattr(unit, name) for name in PROFILE}


def changed_since(profile: Mapping[str, Any], unit: UnitOutline | None) -> tuple[str, ...]:
    """Names of what is another on the unit than in a checkout's profile."""
    if unit is None:
        return ()
    return tuple(
        label
        for name, label in PROFILE.items()
        if name in profile and profile[name] != getattr(unit, name)
    )


def checkout_sheet(scope: Scope, unit_ids: Iterable[int]) -> list[CheckoutSheet]:
    """Current checkouts of these units by tag, in four queries; units without one are left out."""
    return _sheets(scope, Q(unit_id__in=list(unit_ids), superseded_at=None))


def sheet(scope: Scope, checkout_id: int) -> CheckoutSheet:
    """Give one checkout, superseded or not.

    Raises
    ------
    NotFound
        No such checkout in the project.
    """
    found = _sheets(scope, Q(id=checkout_id))
    if not found:
        raise NotFound("There is no such checkout in this project.")
    return found[0]


def sheet_of_point(scope: Scope, point_id: int) -> CheckoutSheet:
    """Give the checkout that a point belongs to."""
    found = _sheets(scope, Q(points__id=point_id))
    if not found:
        raise NotFound("There is no such checkout point in this project.")
    return found[0]


def _sheets(scope: Scope, wanted: Q) -> list[CheckoutSheet]:
    rows = list(
        Checkout.objects.filter(wanted, project_id=scope.project.id)
        .order_by("unit__sort_key", "unit_id", "id")
        .values(
            "id",
            "unit_id",
            "reference_instrument",
            "note",
            "begun_at",
            "completed_at",
            "superseded_at",
            "version",
            "profile",
            unit_tag=F("unit__tag"),
            floor=F("unit__floor"),
            location=F("unit__location"),
            list_name=F("template_name"),
            begun_name=F("begun_by__full_name"),
            completed_name=Coalesce("completed_by__full_name", Value("")),
        )
    )
    points = _points(scope, [row["id"] for row in rows])
    outlines = {unit.id: unit for unit in inventory.outlines(scope)} if rows else {}
    return [
        CheckoutSheet(
            id=row["id"],
            unit_id=row["unit_id"],
            unit_tag=row["unit_tag"],
            floor=row["floor"],
            location=row["location"],
            list_name=row["list_name"],
            reference_instrument=row["reference_instrument"],
            note=row["note"],
            begun_by=row["begun_name"],
            begun_at=row["begun_at"],
            completed_by=row["completed_name"],
            completed_at=row["completed_at"],
            superseded_at=row["superseded_at"],
            version=row["version"],
            points=tuple(points.get(row["id"], ())),
            changed=changed_since(row["profile"], outlines.get(row["unit_id"])),
        )
        for row in rows
    ]


def _points(scope: Scope, checkout_ids: Sequence[int]) -> dict[int, list[PointRow]]:
    if not checkout_ids:
        return {}
    mine = CheckoutPoint.objects.filter(project_id=scope.project.id)
    rows = list(
        mine.filter(checkout_id__in=checkout_ids)
        .order_by("checkout_id", "position", "id")
        .values(*_POINT_COLUMNS, by=Coalesce("observed_by__full_name", Value("")))
    )
    items: dict[int, list[ItemRef]] = {}
    opened = PunchItem.objects.filter(
        project_id=scope.project.id, checkout_point_id__in=[row["id"] for row in rows]
    ).order_by("number")
    for point_id, item_id, number, state in opened.values_list(
        "checkout_point_id", "id", "number", "state"
    ):
        items.setdefault(point_id or 0, []).append(ItemRef(item_id, number, state))
    found: dict[int, list[PointRow]] = {}
    for row in rows:
        found.setdefault(row["checkout_id"], []).append(
            _point_row(row, tuple(items.get(row["id"], ())))
        )
    return found


def facts_of(row: Mapping[str, Any]) -> PointFacts:
    """What a stored point asks for."""
    return PointFacts(
        row["kind"],
        row["quantity"],
        row["tolerance_si"],
        row["low_si"],
        row["high_si"],
        row["expected"],
        row["source"],
    )


def _point_row(row: Mapping[str, Any], items: tuple[ItemRef, ...]) -> PointRow:
    return PointRow(
        id=row["id"],
        key=row["key"],
        name=row["name"],
        facts=facts_of(row),
        seen=Seen(row["observed_si"], row["reference_si"], row["observed_text"], row["is_right"]),
        entered=row["entered"],
        verdict=row["verdict"],
        note=row["note"],
        owes=row["owes"],
        is_required=row["is_required"],
        observed_by=row["by"],
        observed_at=row["observed_at"],
        version=row["version"],
        items=items,
    )
