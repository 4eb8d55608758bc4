"""What checkouts prove of the steps, and what a changed schedule reopens."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from django.urls import reverse

from projectsite.core.evidence import Proof
from projectsite.core.reading import few
from projectsite.core.reopens import Changes, Reopened
from projectsite.core.scope import Scope
from zones.work.domain.checkout import Seen, explain
from zones.work.models import Checkout, CheckoutPoint
from zones.work.queries.checkout_lines import CheckoutLine, lines
from zones.work.queries.checkouts import PROFILE, facts_of, shower

CHECKED_OUT = "points-checked-out"
POWER_LANDED = "power-landed"
SUPPLY = "supply-voltage"


def proofs(scope: Scope, unit_ids: Sequence[int]) -> Iterator[Proof]:
    """Complete checkouts as proof of the checkout, the 24 V point as proof of the power."""
    narrow = few(unit_ids)
    current = Checkout.objects.filter(project_id=scope.project.id, superseded_at=None)
    if narrow is not None:
        current = current.filter(unit_id__in=narrow)
    wanted = set(unit_ids) & set(current.values_list("unit_id", flat=True))
    if not wanted:
        return
    for line in lines(scope, wanted):
        if line.completed_at is not None:
            yield _checked_out(scope, line)
    points = CheckoutPoint.objects.filter(
        project_id=scope.project.id,
        key=SUPPLY,
        checkout__superseded_at=None,
    ).exclude(verdict="")
    if narrow is not None:
        points = points.filter(checkout__unit_id__in=narrow)
    for row in points.order_by("id").values(
        *("kind", "quantity", "tolerance_si", "low_si", "high_si", "expected", "source"),
        *("observed_si", "reference_si", "observed_text", "is_right", "verdict", "observed_at"),
        *("checkout_id", "checkout__unit_id"),
    ):
        if row["checkout__unit_id"] not in wanted:
            continue
        seen = Seen(row["observed_si"], row["reference_si"], row["observed_text"], row["is_right"])
        yield Proof(
            POWER_LANDED,
            row["checkout__unit_id"],
            row["verdict"] == "pass",
            f"24 V at the terminals: {explain(facts_of(row), seen, shower(scope))}",
            row["observed_at"],
            _address(scope, row["checkout_id"]),
        )


def _checked_out(scope: Scope, line: CheckoutLine) -> Proof:
    text = "The checkout is complete."
    if line.changed:
        text = f"Checked out before the {_words(line.changed)} changed; check it out again."
    elif line.state == "failing":
        text = "A point fails since the checkout was complete."
    elif line.state != "complete":
        text = "A needed point was taken back since the checkout was complete."
    return Proof(
        CHECKED_OUT,
        line.unit.id,
        line.state == "complete",
        text,
        line.completed_at,
        _address(scope, line.checkout_id or 0),
    )


def reopened(scope: Scope, changes: Changes) -> Iterator[Reopened]:
    """Checkouts that a change of controller model, options or address puts out of date."""
    touched = {
        unit_id: tuple(PROFILE[name] for name in _names(fields))
        for unit_id, fields in changes.items()
        if _names(fields)
    }
    rows = Checkout.objects.filter(
        project_id=scope.project.id, superseded_at=None, unit_id__in=list(touched)
    )
    for checkout_id, unit_id in rows.order_by("unit_id").values_list("id", "unit_id"):
        yield Reopened(
            unit_id,
            f"The checkout was made for another {_words(touched[unit_id])}; the unit has to be "
            "checked out again.",
            _address(scope, checkout_id),
        )


def _names(fields: Iterable[str]) -> list[str]:
    """Fields of the profile among those that change; a controller comes by either name."""
    given = set(fields)
    return [n for n in PROFILE if n in given or n.removesuffix("_id") in given]


def _words(names: Sequence[str]) -> str:
    return " and the ".join(names)


def _address(scope: Scope, checkout_id: int) -> str:
    return reverse("work:checkout", args=[scope.project.key, checkout_id])
