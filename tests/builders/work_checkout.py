"""Checkout lists and checkouts for tests."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from projectsite.core.scope import Scope
from projectsite.core.units import Entered
from tests.builders.accounts import AT
from zones.inventory.models import TerminalUnit
from zones.work.models import Checkout, CheckoutPoint, CheckTemplate
from zones.work.operations.checkout_lists import load_starter
from zones.work.operations.checkouts import Observation, Observed, begin, observe


def make_list(scope: Scope) -> CheckTemplate:
    """Store the usual checkout list, once for a project."""
    known = CheckTemplate.objects.filter(project_id=scope.project.id).first()
    return known or CheckTemplate.objects.get(pk=load_starter(scope))


def make_checkout(office: Scope, unit: TerminalUnit, by: Scope | None = None) -> Checkout:
    """Begin the checkout of a unit from the usual list."""
    make_list(office)
    return Checkout.objects.get(pk=begin(by or office, unit_id=unit.pk, at=AT))


def volts(value: float) -> Observation:
    """Give a voltage as seen."""
    return {"observed": Entered(value, f"{value:g} V")}


def see(
    scope: Scope, checkout: Checkout, key: str, seen: Observation, at: datetime = AT
) -> Observed:
    """Observe a point by its key, in the version that stands."""
    point = CheckoutPoint.objects.get(checkout=checkout, key=key)
    return observe(scope, point_id=point.pk, version=point.version, seen=seen, at=at)


def pass_all(scope: Scope, checkout: Checkout) -> None:
    """Observe every point of a checkout so that it passes."""
    for point in CheckoutPoint.objects.filter(checkout=checkout):
        passing: dict[str, Any] = {"is_right": True}
        if point.kind == "match":
            passing = {"observed_text": point.expected}
        elif point.kind == "range":
            passing = {"observed": Entered(point.high_si or 0.0, "at the limit")}
        elif point.kind == "sensor":
            passing = {"observed": Entered(21.0, "21 °C"), "reference": Entered(21.0, "21 °C")}
        observe(
            scope,
            point_id=point.pk,
            version=point.version,
            seen=passing,  # type: ignore[arg-type]  # built by kind above
            at=AT,
        )
