"""What punch items find, prove, and have waiting for people."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from django.db.models import Count, Max, Q
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone

from projectsite.accounts.access import scope_of
from projectsite.accounts.queries import projects_of
from projectsite.core.evidence import Proof
from projectsite.core.findings import Finding
from projectsite.core.reading import few
from projectsite.core.scope import Person, Scope
from projectsite.core.waiting import WaitingItem
from zones.work.domain import punch_rules
from zones.work.models import PunchItem
from zones.work.queries.punch import shown_text, snapshots

STEP = "punch-verified"
"""The step that verified items prove."""


def findings(scope: Scope, unit_ids: Sequence[int]) -> list[Finding]:
    """What the punch list finds about these units."""
    today = timezone.now().astimezone(ZoneInfo(scope.project.time_zone)).date()
    items = [shown_text(item) for item in snapshots(scope, unit_ids)]
    return list(punch_rules.check(items, today=today))


def proofs(scope: Scope, unit_ids: Sequence[int]) -> list[Proof]:
    """Units that have had punch items: proven when all are verified, in one query.

    A unit that never had an item has no proof; its step is marked by hand.
    """
    items = PunchItem.objects.filter(project_id=scope.project.id).annotate(
        of_unit=Coalesce("unit_id", "outlet__unit_id")
    )
    narrow = few(unit_ids)
    if narrow is not None:
        items = items.filter(of_unit__in=narrow)
    rows = (
        items.order_by("of_unit")
        .values_list("of_unit")
        .annotate(
            many=Count("id"),
            still=Count("id", filter=~Q(state="verified")),
            last=Max("verified_at"),
        )
    )
    wanted = set(unit_ids)
    found = []
    for unit_id, many, still, last in rows:
        if unit_id not in wanted:
            continue
        what = "item" if many == 1 else "items"
        text = f"All {many} punch {what} verified." if many > 1 else "Its punch item is verified."
        if still:
            text = f"{still} of {many} punch {what} not verified."
        found.append(
            Proof(
                step=STEP,
                unit_id=unit_id,
                holds=not still,
                text=text,
                at=last,
                url=reverse("work:punch", args=[scope.project.key]) + f"?unit={unit_id}",
            )
        )
    return found


def waiting(person: Person) -> list[WaitingItem]:
    """Items that the person's trade is to answer, and those that wait to be verified."""
    keys = [project.key for project in projects_of(person)]
    with_items = (
        PunchItem.objects.filter(project__key__in=keys)
        .exclude(state="verified")
        .order_by("project__key", "state", "trade")
        .values_list("project__key", "state", "trade", "opener_role", "opener_trade")
        .annotate(many=Count("id"))
    )
    rows = list(with_items)
    items = []
    for key in sorted({row[0] for row in rows}):
        scope = scope_of(person.id, key)
        of_project = [row for row in rows if row[0] == key]
        owed = sum(row[5] for row in of_project if row[1] == "open" and row[2] == scope.trade)
        answered = sum(
            row[5] for row in of_project if row[1] == "answered" and _is_ours(scope, row)
        )
        url = reverse("work:punch", args=[key])
        noun = "punch item" if owed == 1 else "punch items"
        items.append(
            WaitingItem(key, f"{noun} to answer", f"{url}?state=open&trade={scope.trade}", owed)
        )
        noun = "punch item" if answered == 1 else "punch items"
        items.append(
            WaitingItem(key, f"answered {noun} to verify", f"{url}?state=answered", answered)
        )
    return items


def _is_ours(scope: Scope, row: tuple[str, str, str, str, str, int]) -> bool:
    """Tell whether the person's side verifies such items."""
    _key, _state, trade, role, opener_trade, _many = row
    if scope.role == "office":
        return True
    return scope.role == role and scope.trade == opener_trade and scope.trade != trade
