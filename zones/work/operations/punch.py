"""Punch items: opened, changed, answered, verified, reopened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Protocol
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Max

from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.locks import Turn, take_turn
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from zones.work.domain.punch import Act, ItemFacts, Side, refusal
from zones.work.models import CheckoutPoint, PunchEntry, PunchItem
from zones.work.queries.people import people_who_work
from zones.work.queries.subjects import column_of, subject

CHANGEABLE = ("trade", "text", "severity", "due_date", "person_id")
_LABELS = {"trade": "Owed by", "text": "What is to be done", "severity": "Weight"}


def side_of(scope: Scope) -> Side:
    """Whom the person stands for in the project."""
    return Side(scope.role, scope.trade)


@transaction.atomic
def open_item(
    scope: Scope,
    *,
    kind: str,
    subject_id: int,
    trade: str,
    text: str,
    severity: str,
    due_date: date | None,
    person_id: int | None,
    client_key: UUID,
    at: datetime,
    checkout_point_id: int | None = None,
) -> int:
    """Open a punch item and give its id; sending the same key again gives the same item.

    Raises
    ------
    NotFound
        The subject or the checkout point is not in the project.
    InvalidInput
        Text, trade, severity or person can't be taken; messages by field.
    """
    scope.require(Action.OPEN_PUNCH)
    about = subject(scope, kind, subject_id)
    take_turn(Turn.OPEN_PUNCH_ITEMS, scope.project.id)
    mine = PunchItem.objects.filter(project_id=scope.project.id)
    known = mine.filter(client_key=client_key).values_list("id", flat=True).first()
    if known is not None:
        return known
    _check_point(scope, checkout_point_id)
    item = PunchItem(
        project_id=scope.project.id,
        number=(mine.aggregate(last=Max("number"))["last"] or 0) + 1,
        trade=trade,
        text=text.strip(),
        severity=severity,
        due_date=due_date,
        person_id=person_id,
        opener_role=scope.role,
        opener_trade=scope.trade,
        opened_by_id=scope.person.id,
        opened_at=at,
        checkout_point_id=checkout_point_id,
        client_key=client_key,
        **{column_of(kind): about.id},
    )
    _check_person(scope, person_id)
    _save(item)
    _note(scope, item, "opened", "", at)
    return item.pk


class GivenItem(Protocol):
    """A row of a file: what to open, and about what."""

    @property
    def row(self) -> int:
        """Number of the row in its file."""

    @property
    def kind(self) -> str:
        """Kind of subject."""

    @property
    def subject_id(self) -> int:
        """Its id."""

    @property
    def trade(self) -> str:
        """Trade that owes it."""

    @property
    def text(self) -> str:
        """What is to be done."""

    @property
    def severity(self) -> str:
        """Weight."""

    @property
    def due(self) -> date | None:
        """When it is due."""


@transaction.atomic
def open_items(scope: Scope, *, given: Sequence[GivenItem], client_key: UUID, at: datetime) -> int:
    """Open the items of a file, all or none, and give their number.

    Sending the same file with the same key again opens nothing twice.
    """
    scope.require(Action.PLAN_WORK)
    for row in given:
        open_item(
            scope,
            kind=row.kind,
            subject_id=row.subject_id,
            trade=row.trade,
            text=row.text,
            severity=row.severity,
            due_date=row.due,
            person_id=None,
            client_key=uuid5(client_key, str(row.row)),
            at=at,
        )
    return len(given)


@transaction.atomic
def change_item(
    scope: Scope, *, item_id: int, version: int, values: Mapping[str, Any], at: datetime
) -> int:
    """Change an open item and give its new version; fields that are not given stay.

    Raises
    ------
    InvalidInput
        A field that an item does not have, or a value that can't be taken.
    """
    item = _locked(scope, item_id, version, "change", Action.OPEN_PUNCH)
    unknown = sorted(set(values) - set(CHANGEABLE))
    if unknown:
        raise InvalidInput(f"{unknown[0]} of a punch item can't be changed.")
    if values.get("person_id") != item.person_id:
        _check_person(scope, values.get("person_id"))
    told = []
    for name, value in values.items():
        clean = value.strip() if isinstance(value, str) else value
        if getattr(item, name) != clean:
            setattr(item, name, clean)
            told.append(name.removesuffix("_id").replace("_", " "))
    if not told:
        return item.version
    _save(item)
    _note(scope, item, "changed", f"changed: {', '.join(told)}", at)
    return item.version


@transaction.atomic
def answer_item(scope: Scope, *, item_id: int, version: int, text: str, at: datetime) -> int:
    """Answer an open item with what was done; it then waits to be verified."""
    item = _locked(scope, item_id, version, "answer", Action.ANSWER_PUNCH)
    _require_text(text, "Say what was done.")
    item.state, item.answered_at = "answered", at
    _save(item)
    _note(scope, item, "answered", text.strip(), at)
    return item.version


@transaction.atomic
def verify_item(scope: Scope, *, item_id: int, version: int, text: str, at: datetime) -> int:
    """Verify an item; it is closed then.

    Raises
    ------
    Conflict
        The checkout point whose failure opened the item fails still.
    """
    item = _locked(scope, item_id, version, "verify", Action.VERIFY_PUNCH)
    if item.checkout_point_id is not None:
        point = CheckoutPoint.objects.filter(
            pk=item.checkout_point_id, checkout__superseded_at=None
        )
        name = point.filter(verdict="fail").values_list("name", flat=True).first()
        if name is not None:
            raise Conflict(
                f"The checkout still says that “{name}” fails. Observe it again first; when it "
                "passes, the item can be verified."
            )
    item.state, item.verified_at = "verified", at
    _save(item)
    _note(scope, item, "verified", text.strip(), at)
    return item.version


@transaction.atomic
def reopen_item(scope: Scope, *, item_id: int, version: int, text: str, at: datetime) -> int:
    """Open an answered or verified item again, and say why."""
    item = _locked(scope, item_id, version, "reopen", Action.VERIFY_PUNCH)
    _require_text(text, "Say what is still open.")
    item.state, item.answered_at, item.verified_at = "open", None, None
    _save(item)
    _note(scope, item, "reopened", text.strip(), at)
    return item.version


def _locked(scope: Scope, item_id: int, version: int, act: Act, action: Action) -> PunchItem:
    """Lock an item and check that this side may do this with it now, in the state it saw."""
    scope.require(action)
    item = (
        PunchItem.objects.select_for_update(of=("self",))
        .filter(project_id=scope.project.id, id=item_id)
        .first()
    )
    if item is None:
        raise NotFound("There is no such punch item in this project.")
    facts = ItemFacts(item.state, item.trade, Side(item.opener_role, item.opener_trade))
    why = refusal(side_of(scope), facts, act)
    # A person who saw another state is told of the change, not of the rule.
    if item.version != version:
        raise Conflict(
            f"Punch item {item.number} was changed since you opened it; it is {item.state} now. "
            "What you typed is kept; look at it again."
        )
    if why:
        one_of_state = refusal(Side("office", "office"), facts, act)
        raise Conflict(why) if one_of_state else Forbidden(why)
    return item


def _check_person(scope: Scope, person_id: int | None) -> None:
    """Only the office knows all people, so only the office says who is to do it."""
    if person_id is None:
        return
    if not scope.allows(Action.MANAGE_PEOPLE):
        message = "The office says who is to do it; leave this empty."
        raise InvalidInput(message, fields={"person_id": message})
    if all(member.user_id != person_id for member in people_who_work(scope)):
        message = "Choose a person who works on this project."
        raise InvalidInput(message, fields={"person_id": message})


def _check_point(scope: Scope, point_id: int | None) -> None:
    if point_id is None:
        return
    if not CheckoutPoint.objects.filter(project_id=scope.project.id, id=point_id).exists():
        raise NotFound("There is no such checkout point in this project.")


def _require_text(text: str, message: str) -> None:
    if not text.strip():
        raise InvalidInput(message, fields={"text": message})
    if len(text) > 2000:
        raise InvalidInput("Up to 2000 characters.", fields={"text": "Up to 2000 characters."})


def _save(item: PunchItem) -> None:
    if item.pk:
        item.version += 1
    links = ("outlet", "unit", "air_handler", "checkout_point", "person")
    checked_save(item, labels=_LABELS, unchecked=links)


def _note(scope: Scope, item: PunchItem, kind: str, text: str, at: datetime) -> None:
    PunchEntry.objects.create(
        project_id=scope.project.id,
        item=item,
        kind=kind,
        text=text,
        by_id=scope.person.id,
        at=at,
    )
