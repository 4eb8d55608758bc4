"""Punch items: lists, one item with its story, counts, findings, proofs, waiting work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Case, Count, F, IntegerField, OuterRef, Q, QuerySet, Subquery, When
from django.db.models.functions import Coalesce

from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.work.domain.punch import ItemFacts, PunchSnapshot, Side
from zones.work.domain.types import SubjectRef
from zones.work.domain.words import PUNCH_STATES, SEVERITIES, TRADES
from zones.work.models import Attachment, PunchEntry, PunchItem
from zones.work.queries.subjects import COLUMNS, pair_of, subjects

SEVERITY_ORDER = {key: place for place, (key, _) in enumerate(SEVERITIES)}
_STATE_ORDER = {key: place for place, (key, _) in enumerate(PUNCH_STATES)}
PUNCH_SORTS: Mapping[str, str] = {
    "number": "number",
    "trade": "trade",
    "severity": "severity_place",
    "state": "state_place",
    "due": "due_date",
    "opened": "opened_at",
    "floor": "floor",
}
"""What the list can be ordered by, and the column that it means."""


@dataclass(frozen=True, slots=True)
class PunchFilter:
    """Which items are wanted; an empty value leaves the filter out.

    ``state`` is one of the states, or "unverified" for all that are not closed.
    """

    text: str = ""
    state: str = ""
    trade: str = ""
    severity: str = ""
    kind: str = ""
    floor: str = ""
    air_handler: int | None = None
    person: int | None = None
    due_before: date | None = None
    unit: int | None = None
    opener: Side | None = None


@dataclass(frozen=True, slots=True)
class PunchRow:
    """A punch item as lists and documents show it."""

    id: int
    number: int
    kind: str
    subject_id: int
    subject: str
    subject_url: str
    unit_id: int | None
    floor: str
    location: str
    trade: str
    severity: str
    text: str
    state: str
    due_date: date | None
    person_id: int | None
    person: str
    opener: Side
    opened_by: str
    opened_at: datetime
    answered_at: datetime | None
    verified_at: datetime | None
    last_text: str
    photos: int
    checkout_point_id: int | None
    version: int

    @property
    def trade_word(self) -> str:
        """Name of the trade that owes it."""
        return dict(TRADES)[self.trade]

    @property
    def severity_word(self) -> str:
        """Weight in words."""
        return dict(SEVERITIES)[self.severity]

    @property
    def facts(self) -> ItemFacts:
        """What decides who may do what with it."""
        return ItemFacts(self.state, self.trade, self.opener)


@dataclass(frozen=True, slots=True)
class PunchStep:
    """One thing that happened to an item."""

    kind: str
    text: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class PunchDetail:
    """An item with its story."""

    row: PunchRow
    story: tuple[PunchStep, ...] = field(default_factory=tuple)


def _matching(scope: Scope, wanted: PunchFilter) -> QuerySet[PunchItem]:
    floor = Coalesce("unit__floor", "outlet__unit__floor")
    found = PunchItem.objects.filter(project_id=scope.project.id).annotate(floor=floor)
    if wanted.text:
        words = Q(text__icontains=wanted.text)
        for tag in ("unit__tag", "outlet__tag", "outlet__unit__tag", "air_handler__tag"):
            words |= Q(**{f"{tag}__icontains": wanted.text})
        if wanted.text.isascii() and wanted.text.isdecimal() and len(wanted.text) < 9:
            words |= Q(number=int(wanted.text))
        found = found.filter(words)
    if wanted.state == "unverified":
        found = found.exclude(state="verified")
    elif wanted.state:
        found = found.filter(state=wanted.state)
    if wanted.kind:
        found = found.filter(**{f"{COLUMNS[wanted.kind]}__isnull": False})
    if wanted.air_handler is not None:
        found = found.filter(
            Q(air_handler_id=wanted.air_handler)
            | Q(unit__air_handler_id=wanted.air_handler)
            | Q(outlet__unit__air_handler_id=wanted.air_handler)
        )
    if wanted.unit is not None:
        found = found.filter(Q(unit_id=wanted.unit) | Q(outlet__unit_id=wanted.unit))
    if wanted.opener is not None:
        found = found.filter(opener_role=wanted.opener.role)
        if wanted.opener.role == "installer":
            found = found.filter(opener_trade=wanted.opener.trade)
    plain = {
        "trade": wanted.trade or None,
        "severity": wanted.severity or None,
        "floor": wanted.floor or None,
        "person_id": wanted.person,
        "due_date__lt": wanted.due_before,
    }
    return found.filter(**{name: value for name, value in plain.items() if value is not None})


def _place(column: str, order: Mapping[str, int]) -> Case:
    return Case(
        *(When(**{column: key}, then=place) for key, place in order.items()),
        output_field=IntegerField(),
    )


def count_punch(scope: Scope, wanted: PunchFilter) -> int:
    """Count the items that match."""
    return _matching(scope, wanted).count()


def punch_rows(
    scope: Scope,
    wanted: PunchFilter,
    *,
    sort: str = "number",
    offset: int = 0,
    limit: int | None = None,
) -> list[PunchRow]:
    """Items that match, in a fixed number of queries; without a due date come last."""
    column = PUNCH_SORTS[sort.removeprefix("-")]
    order = (
        F(column).desc(nulls_last=True) if sort.startswith("-") else F(column).asc(nulls_last=True)
    )
    found = _matching(scope, wanted).annotate(
        severity_place=_place("severity", SEVERITY_ORDER),
        state_place=_place("state", _STATE_ORDER),
    )
    found = found.order_by(order, "number", "id")
    return _rows(scope, found[offset:] if limit is None else found[offset : offset + limit])


def _rows(scope: Scope, found: QuerySet[PunchItem]) -> list[PunchRow]:
    photos = (
        Attachment.objects.filter(punch_item=OuterRef("pk"), archived_at=None)
        .order_by()
        .values("punch_item")
        .annotate(many=Count("pk"))
        .values("many")
    )
    said = PunchEntry.objects.filter(item=OuterRef("pk")).exclude(text="").order_by("-id")
    values: list[dict[str, Any]] = list(
        found.annotate(
            opener=F("opened_by__full_name"),
            person_name=F("person__full_name"),
            last_text=Subquery(said.values("text")[:1]),
            photos=Subquery(photos),
        ).values(
            "id",
            "number",
            *COLUMNS.values(),
            "trade",
            "severity",
            "text",
            "state",
            "due_date",
            "person_id",
            "person_name",
            "opener_role",
            "opener_trade",
            "opener",
            "opened_at",
            "answered_at",
            "verified_at",
            "last_text",
            "photos",
            "checkout_point_id",
            "version",
        )
    )
    names = subjects(scope, {pair_of(row) for row in values})
    return [_row(row, names) for row in values]


def _row(row: Mapping[str, Any], names: Mapping[tuple[str, int], SubjectRef]) -> PunchRow:
    pair = pair_of(row)
    about = names.get(pair) or SubjectRef("unit", pair[1], f"{pair[0]} {pair[1]}")
    return PunchRow(
        id=row["id"],
        number=row["number"],
        kind=pair[0],
        subject_id=pair[1],
        subject=about.label,
        subject_url=about.url,
        unit_id=about.unit_id,
        floor=about.floor,
        location=about.location,
        trade=row["trade"],
        severity=row["severity"],
        text=row["text"],
        state=row["state"],
        due_date=row["due_date"],
        person_id=row["person_id"],
        person=row["person_name"] or "",
        opener=Side(row["opener_role"], row["opener_trade"]),
        opened_by=row["opener"],
        opened_at=row["opened_at"],
        answered_at=row["answered_at"],
        verified_at=row["verified_at"],
        last_text=row["last_text"] or "",
        photos=row["photos"] or 0,
        checkout_point_id=row["checkout_point_id"],
        version=row["version"],
    )


def punch_row(scope: Scope, item_id: int) -> PunchRow:
    """One item.

    Raises
    ------
    NotFound
        It is not in the project.
    """
    rows = _rows(scope, PunchItem.objects.filter(project_id=scope.project.id, id=item_id))
    if not rows:
        raise NotFound("There is no such punch item in this project.")
    return rows[0]


def punch_detail(scope: Scope, item_id: int) -> PunchDetail:
    """One item with what happened to it, the oldest first."""
    row = punch_row(scope, item_id)
    story = (
        PunchEntry.objects.filter(project_id=scope.project.id, item_id=item_id)
        .order_by("id")
        .values_list("kind", "text", "by__full_name", "at")
    )
    return PunchDetail(row, tuple(PunchStep(*entry) for entry in story))


def items_of_points(scope: Scope, point_ids: Sequence[int]) -> dict[int, list[PunchRow]]:
    """Items that failures of these checkout points opened, by point."""
    found = PunchItem.objects.filter(
        project_id=scope.project.id, checkout_point_id__in=list(point_ids)
    ).order_by("number")
    by_point: dict[int, list[PunchRow]] = {}
    for row in _rows(scope, found):
        by_point.setdefault(row.checkout_point_id or 0, []).append(row)
    return by_point


def counts(scope: Scope) -> dict[str, int]:
    """Number of items in each state; every state is there."""
    rows = (
        PunchItem.objects.filter(project_id=scope.project.id)
        .order_by("state")
        .values_list("state")
        .annotate(many=Count("id"))
    )
    return dict.fromkeys(_STATE_ORDER, 0) | dict(rows)


def counts_by_trade(scope: Scope) -> list[tuple[str, int, int]]:
    """Trade, open and answered items of each trade that owes something."""
    rows = (
        PunchItem.objects.filter(project_id=scope.project.id)
        .exclude(state="verified")
        .order_by("trade")
        .values_list("trade")
        .annotate(
            open=Count("id", filter=Q(state="open")),
            answered=Count("id", filter=Q(state="answered")),
        )
    )
    return [(dict(TRADES)[trade], is_open, answered) for trade, is_open, answered in rows]


def snapshots(scope: Scope, unit_ids: Iterable[int] | None = None) -> list[PunchSnapshot]:
    """Items of these units and their outlets that are not verified, for the rules."""
    found = PunchItem.objects.filter(project_id=scope.project.id).exclude(state="verified")
    if unit_ids is not None:
        ids = list(unit_ids)
        found = found.filter(Q(unit_id__in=ids) | Q(outlet__unit_id__in=ids))
    values = found.order_by("number").values_list(
        "id",
        "number",
        Coalesce("unit__tag", "outlet__unit__tag"),
        Coalesce("unit_id", "outlet__unit_id"),
        "trade",
        "text",
        "severity",
        "state",
        "opened_at",
        "due_date",
    )
    return [PunchSnapshot(*row) for row in values]


def shown_text(snapshot: PunchSnapshot, length: int = 120) -> PunchSnapshot:
    """The same item with its text cut to fit into a sentence."""
    text = " ".join(snapshot.text.split())
    return replace(snapshot, text=text if len(text) <= length else text[: length - 1] + "…")
