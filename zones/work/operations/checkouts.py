"""Checking units out: begin, observe point by point, complete."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypedDict
from uuid import NAMESPACE_URL, uuid5

from django.db import transaction
from django.forms import model_to_dict

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import applies, options_of
from zones.work.domain.checkout import Seen, explain, judge
from zones.work.domain.checkout_lists import ListFacts, suited
from zones.work.models import Checkout, CheckoutPoint, CheckTemplate, PunchItem
from zones.work.operations.punch import open_item
from zones.work.queries.checkouts import OPTIONS, changed_since, facts_of, profile_of, shower

_SHAPE = (
    "position",
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
)
_FIELD_OF_SOURCE = {"mac-address": "mac_address", "device-instance": "device_instance"}
TEXT_LENGTH = 200
NOTE_LENGTH = 400


class Observation(TypedDict, total=False):
    """What was seen of a point; what is left out stays as it is, None and "" take it back."""

    observed: Entered | None
    reference: Entered | None
    observed_text: str
    is_right: bool | None
    note: str


@dataclass(frozen=True, slots=True)
class Observed:
    """What an observation did.

    Attributes
    ----------
    verdict
        "pass", "fail", or "" while it can't be judged.
    opened_item_id
        Punch item that this failure opened, or None.
    """

    version: int
    verdict: str
    opened_item_id: int | None = None


@transaction.atomic
def begin(
    scope: Scope,
    *,
    unit_id: int,
    template_id: int | None = None,
    copy_from: int | None = None,
    at: datetime,
) -> int:
    """Begin the checkout of a unit and give its id; one that the unit has is superseded.

    Parameters
    ----------
    template_id
        Checkout list to take; without it the one that fits the unit most exactly.
    copy_from
        Another checkout: its points, limits and reference instrument are taken, not what was
        seen there. The other unit must have the same controller model and options.

    Raises
    ------
    NotFound
        No such unit in use, list or checkout in the project.
    Conflict
        No checkout list fits, none of its points applies, or the units differ.
    """
    scope.require(Action.CHECK_OUT)
    _lock(scope)
    unit = _unit(scope, unit_id)
    if copy_from is not None:
        name, instrument, points = _copied(scope, copy_from, unit)
    else:
        instrument = ""
        name, points = _listed(scope, template_id, unit)
    Checkout.objects.filter(unit_id=unit.id, superseded_at=None).update(superseded_at=at)
    made = Checkout.objects.create(
        project_id=scope.project.id,
        unit_id=unit.id,
        template_name=name,
        reference_instrument=instrument,
        profile=profile_of(unit),
        begun_by_id=scope.person.id,
        begun_at=at,
    )
    for point in points:
        point.project_id, point.checkout_id = scope.project.id, made.pk
        if point.source:
            point.expected = _expected(point.source, unit)
    CheckoutPoint.objects.bulk_create(points)
    return made.pk


@transaction.atomic
def describe(scope: Scope, *, checkout_id: int, version: int, values: dict[str, str]) -> int:
    """Say with which reference instrument it is done, or note something; gives the version."""
    scope.require(Action.CHECK_OUT)
    found = _locked(scope, checkout_id)
    _refuse_stale(found.version, version, "This checkout")
    longest = {"reference_instrument": 120, "note": 2000}
    for name, value in values.items():
        if len(value) > longest[name]:
            message = f"Use up to {longest[name]} characters."
            raise InvalidInput(message, fields={name: message})
        setattr(found, name, value.strip())
    found.version += 1
    found.save()
    return found.version


@transaction.atomic
def observe(
    scope: Scope, *, point_id: int, version: int, seen: Observation, at: datetime
) -> Observed:
    """Keep what was seen of a point, judge it, and open a punch item when it fails.

    A point that fails opens one item; as long as that is not verified, failing again opens no
    other. A later pass leaves the item to its verifier.

    Raises
    ------
    NotFound
        No such point in the project.
    Conflict
        Somebody saved the point since ``version``, or the checkout is superseded.
    InvalidInput
        A value that this kind of point does not take; messages by field.
    """
    scope.require(Action.CHECK_OUT)
    _lock(scope)
    point = (
        CheckoutPoint.objects.select_for_update(of=("self",))
        .select_related("checkout")
        .filter(project_id=scope.project.id, id=point_id)
        .first()
    )
    if point is None:
        raise NotFound("There is no such checkout point in this project.")
    _refuse_superseded(point.checkout)
    _refuse_stale(point.version, version, f"“{point.name}”")
    _take_expected(scope, point)
    _put(point, seen)
    sight = Seen(point.observed_si, point.reference_si, point.observed_text, point.is_right)
    facts = facts_of(model_to_dict(point))
    point.verdict = judge(facts, sight)
    is_seen = sight != Seen()
    point.observed_by_id = scope.person.id if is_seen else None
    point.observed_at = at if is_seen else None
    point.version += 1
    point.save()
    if point.verdict != "fail":
        return Observed(point.version, point.verdict)
    why = explain(facts, sight, shower(scope))
    return Observed(point.version, "fail", _open_item(scope, point, why, at))


@transaction.atomic
def complete(scope: Scope, *, checkout_id: int, version: int, at: datetime) -> int:
    """Complete a checkout and give its version.

    Raises
    ------
    Conflict
        A needed point is not judged or fails; the message names each. Or the checkout is
        superseded, changed since, or complete already.
    """
    scope.require(Action.CHECK_OUT)
    _lock(scope)
    found = _locked(scope, checkout_id)
    _refuse_stale(found.version, version, "This checkout")
    if found.completed_at is not None:
        raise Conflict("This checkout is complete already.")
    changed = changed_since(found.profile, _unit(scope, found.unit_id))
    if changed:
        raise Conflict(
            f"The {' and the '.join(changed)} of the unit changed since this checkout began. "
            "Begin it again."
        )
    points = found.points.filter(is_required=True).order_by("position", "id")
    rows = points.values_list("name", "verdict")
    gaps = [
        f"{name} ({'fails' if verdict == 'fail' else 'open'})"
        for name, verdict in rows
        if verdict != "pass"
    ]
    if gaps:
        raise Conflict(f"Not complete yet: {'; '.join(gaps)}.")
    found.completed_at, found.completed_by_id = at, scope.person.id
    found.version += 1
    found.save()
    return found.version


def _lock(scope: Scope) -> None:
    """Let checkouts of a project change one after another: two could begin one unit's."""
    take_turn(Turn.CHECK_OUT, scope.project.id)


def _unit(scope: Scope, unit_id: int) -> UnitOutline:
    found = inventory.outlines(scope, [unit_id])
    if not found:
        raise NotFound("There is no such terminal unit in use in this project.")
    return found[0]


def _listed(
    scope: Scope, template_id: int | None, unit: UnitOutline
) -> tuple[str, list[CheckoutPoint]]:
    """Name and points of the list that is taken, those that apply to the unit."""
    lists = CheckTemplate.objects.filter(project_id=scope.project.id, archived_at=None)
    if template_id is None:
        template_id = _suited(lists.order_by("id"), unit)
    template = lists.filter(id=template_id).first()
    if template is None:
        raise NotFound("There is no such checkout list in use in this project.")
    options = options_of(unit)
    points = [
        CheckoutPoint(**{name: getattr(point, name) for name in _SHAPE})
        for point in template.points.order_by("position", "id")
        if applies(options, heats=point.heats, fans=point.fans, needs=point.needs)
    ]
    if not points:
        raise Conflict(f"No point of “{template.name}” applies to {unit.tag}.")
    return template.name, points


def _suited(lists: Iterable[CheckTemplate], unit: UnitOutline) -> int:
    known = [
        ListFacts(t.pk, t.name, t.controller_model_id, tuple(t.heats), tuple(t.fans)) for t in lists
    ]
    found = suited(known, options_of(unit), unit.controller_model_id)
    if found is None:
        raise Conflict(
            f"No checkout list fits {unit.tag}. The office sets up the checkout lists; one "
            "without a controller model, reheat and fan fits every unit."
        )
    return found.id


def _copied(
    scope: Scope, checkout_id: int, unit: UnitOutline
) -> tuple[str, str, list[CheckoutPoint]]:
    """Name, reference instrument and points of another unit's checkout."""
    source = Checkout.objects.filter(project_id=scope.project.id, id=checkout_id).first()
    if source is None:
        raise NotFound("There is no such checkout in this project.")
    if any(source.profile.get(name) != getattr(unit, name) for name in OPTIONS):
        raise Conflict(
            f"{unit.tag} has another controller model or other options than the unit of that "
            "checkout. Begin its checkout from a checkout list."
        )
    points = [
        CheckoutPoint(**{name: getattr(point, name) for name in _SHAPE})
        for point in source.points.order_by("position", "id")
    ]
    return source.template_name, source.reference_instrument, points


def _expected(source: str, unit: UnitOutline) -> str:
    value = getattr(unit, _FIELD_OF_SOURCE[source])
    return "" if value is None else str(value)


def _take_expected(scope: Scope, point: CheckoutPoint) -> None:
    """Take an address that was recorded after the checkout began."""
    if not point.source or point.expected:
        return
    name = _FIELD_OF_SOURCE[point.source]
    unit = _unit(scope, point.checkout.unit_id)
    point.expected = _expected(point.source, unit)
    if point.expected:
        point.checkout.profile[name] = getattr(unit, name)
        point.checkout.save(update_fields=["profile"])


def _put(point: CheckoutPoint, seen: Observation) -> None:
    problems: dict[str, str] = {}
    takes = {
        "sensor": {"observed", "reference"},
        "range": {"observed"},
        "match": {"observed_text"},
        "confirm": {"is_right"},
    }[point.kind] | {"note"}
    for name, value in seen.items():
        if name not in takes:
            if value not in (None, ""):
                problems[name] = f"“{point.name}” does not take this."
        elif name in {"observed", "reference"}:
            _put_quantity(point, name, value)
        elif name == "is_right":
            point.is_right = None if value is None else bool(value)
        else:
            text, longest = str(value).strip(), NOTE_LENGTH if name == "note" else TEXT_LENGTH
            if len(text) > longest:
                problems[name] = f"Use up to {longest} characters; this has {len(text)}."
            setattr(point, name, text)
    if problems:
        raise InvalidInput(" ".join(problems.values()), fields=problems)


def _put_quantity(point: CheckoutPoint, name: str, value: Any) -> None:
    setattr(point, f"{name}_si", None if value is None else value.value)
    point.entered = {key: text for key, text in point.entered.items() if key != name}
    if value is not None:
        point.entered[name] = value.text


def _open_item(scope: Scope, point: CheckoutPoint, why: str, at: datetime) -> int | None:
    """Open a punch item for a failing point, unless one is open for it."""
    known = PunchItem.objects.filter(checkout_point_id=point.pk).exclude(state="verified")
    if known.exists():
        return None
    text = f"Checkout: {point.name}. {why}" + (f" {point.note}" if point.note else "")
    return open_item(
        scope,
        kind="unit",
        subject_id=point.checkout.unit_id,
        trade=point.owes,
        text=text,
        severity="holds" if point.is_required else "mend",
        due_date=None,
        person_id=None,
        # One item for one failure, however often it is sent.
        client_key=uuid5(NAMESPACE_URL, f"checkout-point:{point.pk}:{point.version}"),
        at=at,
        checkout_point_id=point.pk,
    )


def _locked(scope: Scope, checkout_id: int) -> Checkout:
    found = (
        Checkout.objects.select_for_update(of=("self",))
        .filter(project_id=scope.project.id, id=checkout_id)
        .first()
    )
    if found is None:
        raise NotFound("There is no such checkout in this project.")
    _refuse_superseded(found)
    return found


def _refuse_superseded(found: Checkout) -> None:
    if found.superseded_at is not None:
        raise Conflict("A later checkout of this unit has taken the place of this one.")


def _refuse_stale(stands: int, seen: int, what: str) -> None:
    if stands != seen:
        raise Conflict(
            f"{what} was saved by somebody else since you opened it. Look at it as it is now, "
            "and then save again."
        )
