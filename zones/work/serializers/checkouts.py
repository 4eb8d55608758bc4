"""What the API takes and gives of checkout lists and checkouts."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from projectsite.core.errors import InvalidInput
from projectsite.core.quantities import KINDS
from projectsite.core.scope import Scope
from projectsite.core.serializers import QuantityField
from projectsite.core.units import Entered, split_number
from zones.work.domain import words
from zones.work.operations.checkouts import NOTE_LENGTH, TEXT_LENGTH, Observation
from zones.work.queries.checkout_lines import CheckoutLine
from zones.work.queries.checkout_lists import CheckoutList, ListPoint
from zones.work.queries.checkouts import STATES, CheckoutSheet, PointRow

TRADES = tuple(value for value, _ in words.TRADES)
POINT_KINDS = tuple(value for value, _ in words.POINT_KINDS)
POINT_SOURCES = tuple(value for value, _ in words.POINT_SOURCES)
POINT_VERDICTS = ("", "pass", "fail")
CHECKOUT_STATES = tuple(STATES)
HEATS = ("none", "hot-water", "electric")
FANS = ("none", "parallel", "series")


def _several(choices: tuple[Any, ...]) -> Any:
    return serializers.ListField(child=serializers.ChoiceField(choices), required=False)


class ListPointOut(serializers.Serializer[Any]):
    """A point of a checkout list; limits in the SI unit of the quantity."""

    id = serializers.IntegerField()
    key = serializers.CharField()
    name = serializers.CharField()
    place = serializers.IntegerField()
    kind = serializers.ChoiceField(POINT_KINDS)
    quantity = serializers.CharField(help_text="Kind of quantity that is read; empty for text.")
    tolerance_si = serializers.FloatField(allow_null=True)
    low_si = serializers.FloatField(allow_null=True)
    high_si = serializers.FloatField(allow_null=True)
    expected = serializers.CharField()
    source = serializers.ChoiceField(POINT_SOURCES)  # type: ignore[assignment]  # a field, not where one is read
    owes = serializers.ChoiceField(TRADES)
    is_required = serializers.BooleanField()
    heats = _several(HEATS)
    fans = _several(FANS)
    needs = _several(words.NEEDS)


class CheckoutListOut(serializers.Serializer[Any]):
    """A checkout list with its points."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    controller_model_id = serializers.IntegerField(allow_null=True)
    heats = _several(HEATS)
    fans = _several(FANS)
    archived_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()
    points = ListPointOut(many=True)


class CheckoutListIn(serializers.Serializer[Any]):
    """A checkout list; what is left out of a change stays as it is."""

    name = serializers.CharField(max_length=100)
    controller_model_id = serializers.IntegerField(allow_null=True, required=False)
    heats = _several(HEATS)
    fans = _several(FANS)
    version = serializers.IntegerField(required=False, min_value=0)


class ListPointIn(serializers.Serializer[Any]):
    """A point of a checkout list; limits in the SI unit of the quantity."""

    name = serializers.CharField(max_length=120)
    kind = serializers.ChoiceField(POINT_KINDS)
    quantity = serializers.ChoiceField(("", *KINDS), required=False)
    tolerance_si = serializers.FloatField(allow_null=True, required=False, min_value=0)
    low_si = serializers.FloatField(allow_null=True, required=False)
    high_si = serializers.FloatField(allow_null=True, required=False)
    expected = serializers.CharField(max_length=200, required=False, allow_blank=True)
    source = serializers.ChoiceField(POINT_SOURCES, required=False)  # type: ignore[assignment]  # a field, not where one is read
    owes = serializers.ChoiceField(TRADES, required=False)
    is_required = serializers.BooleanField(required=False)
    heats = _several(HEATS)
    fans = _several(FANS)
    needs = _several(words.NEEDS)
    version = serializers.IntegerField(min_value=0, help_text="Version of the list.")


class ListPointMoveIn(serializers.Serializer[Any]):
    """Where a point is put."""

    to = serializers.IntegerField(min_value=1, max_value=1000)
    version = serializers.IntegerField(min_value=0, help_text="Version of the list.")


class CheckoutVersionIn(serializers.Serializer[Any]):
    """Version of what is acted upon."""

    version = serializers.IntegerField(min_value=0)


class CheckoutLineOut(serializers.Serializer[Any]):
    """A unit with the state of its checkout."""

    unit_id = serializers.IntegerField()
    unit_tag = serializers.CharField()
    floor = serializers.CharField()
    air_handler = serializers.CharField()
    state = serializers.ChoiceField(CHECKOUT_STATES)
    checkout_id = serializers.IntegerField(allow_null=True)
    passed = serializers.IntegerField()
    failed = serializers.IntegerField()
    points = serializers.IntegerField()
    begun_at = serializers.DateTimeField(allow_null=True)
    completed_at = serializers.DateTimeField(allow_null=True)
    changed = serializers.ListField(child=serializers.CharField())


class CheckoutPointOut(serializers.Serializer[Any]):
    """A point of a checkout; observed and reference in the SI unit of the quantity."""

    id = serializers.IntegerField()
    key = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(POINT_KINDS)
    quantity = serializers.CharField()
    asked = serializers.CharField(help_text="What is expected, in the reader's units.")
    observed_si = serializers.FloatField(allow_null=True)
    reference_si = serializers.FloatField(allow_null=True)
    observed_text = serializers.CharField()
    is_right = serializers.BooleanField(allow_null=True)
    verdict = serializers.ChoiceField(POINT_VERDICTS)
    told = serializers.CharField(help_text="Why, with figures and units.")
    note = serializers.CharField()
    owes = serializers.ChoiceField(TRADES)
    is_required = serializers.BooleanField()
    observed_by = serializers.CharField()
    observed_at = serializers.DateTimeField(allow_null=True)
    punch_item_ids = serializers.ListField(child=serializers.IntegerField())
    version = serializers.IntegerField()


class CheckoutOut(serializers.Serializer[Any]):
    """A checkout with its points."""

    id = serializers.IntegerField()
    unit_id = serializers.IntegerField()
    unit_tag = serializers.CharField()
    list_name = serializers.CharField()
    state = serializers.ChoiceField(CHECKOUT_STATES)
    reference_instrument = serializers.CharField()
    note = serializers.CharField()
    begun_by = serializers.CharField()
    begun_at = serializers.DateTimeField()
    completed_by = serializers.CharField()
    completed_at = serializers.DateTimeField(allow_null=True)
    superseded_at = serializers.DateTimeField(allow_null=True)
    changed = serializers.ListField(child=serializers.CharField())
    missing = serializers.ListField(child=serializers.CharField())
    version = serializers.IntegerField()
    points = CheckoutPointOut(many=True)


class CheckoutBeginIn(serializers.Serializer[Any]):
    """Which unit is checked out, by which list or like which checkout."""

    unit_id = serializers.IntegerField()
    list_id = serializers.IntegerField(required=False, allow_null=True)
    copy_from = serializers.IntegerField(
        required=False, allow_null=True, help_text="Checkout whose points and limits are taken."
    )


class CheckoutAboutIn(serializers.Serializer[Any]):
    """Reference instrument and note of a checkout."""

    version = serializers.IntegerField(min_value=0)
    reference_instrument = serializers.CharField(max_length=120, required=False, allow_blank=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class ObservationIn(serializers.Serializer[Any]):
    """What was seen of a point; what is left out stays, null and empty text take it back."""

    version = serializers.IntegerField(min_value=0)
    observed = serializers.CharField(
        required=False, allow_null=True, max_length=80, help_text="Number in SI, or with its unit."
    )
    reference = serializers.CharField(required=False, allow_null=True, max_length=80)
    observed_text = serializers.CharField(required=False, allow_blank=True, max_length=TEXT_LENGTH)
    is_right = serializers.BooleanField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=NOTE_LENGTH)

    def seen(self, quantity: str) -> Observation:
        """What was sent, for an operation; quantities are read as of this kind.

        Raises
        ------
        InvalidInput
            A value that is no quantity of this kind, or has no unit.
        """
        found: Any = {k: v for k, v in self.validated_data.items() if k != "version"}
        for name in ("observed", "reference"):
            if found.get(name) is not None:
                found[name] = _quantity(found[name], quantity, name)
        return found  # type: ignore[no-any-return]  # keys are those of an observation


def _quantity(text: str, quantity: str, name: str) -> Entered:
    if not quantity:
        message = "This point takes no quantity."
        raise InvalidInput(message, fields={name: message})
    number, rest = split_number(text)
    is_si = number is not None and not rest
    try:
        return QuantityField(quantity).to_internal_value(number if is_si else text)
    except serializers.ValidationError as error:
        told = " ".join(str(part) for part in error.detail)
        raise InvalidInput(told, fields={name: told}) from error


def list_given(found: CheckoutList) -> dict[str, Any]:
    """Give a checkout list as it is sent."""
    names = ("id", "name", "controller_model_id", "heats", "fans", "archived_at", "version")
    given = {name: getattr(found, name) for name in names}
    return {**given, "points": [_list_point(point) for point in found.points]}


def _list_point(point: ListPoint) -> dict[str, Any]:
    own = ("id", "key", "name", "place", "owes", "is_required", "heats", "fans", "needs")
    facts = ("kind", "quantity", "tolerance_si", "low_si", "high_si", "expected", "source")
    return {name: getattr(point, name) for name in own} | {
        name: getattr(point.facts, name) for name in facts
    }


def line_given(line: CheckoutLine) -> dict[str, Any]:
    """Give a unit with the state of its checkout as it is sent."""
    names = ("state", "checkout_id", "passed", "failed", "points", "begun_at", "completed_at")
    return {
        "unit_id": line.unit.id,
        "unit_tag": line.unit.tag,
        "floor": line.unit.floor,
        "air_handler": line.unit.air_handler,
        "changed": list(line.changed),
        **{name: getattr(line, name) for name in names},
    }


def sheet_given(scope: Scope, sheet: CheckoutSheet) -> dict[str, Any]:
    """Give a checkout as it is sent, sentences in the reader's units."""
    names: list[str] = [str(name) for name in CheckoutOut().fields.keys() - {"points"}]
    given = {name: getattr(sheet, name) for name in names}
    return {**given, "points": [_point(scope, point) for point in sheet.points]}


def _point(scope: Scope, point: PointRow) -> dict[str, Any]:
    own = ("id", "key", "name", "verdict", "note", "owes", "is_required", "observed_by")
    seen = ("observed_si", "reference_si", "observed_text", "is_right")
    return {
        **{name: getattr(point, name) for name in (*own, "observed_at", "version")},
        **{name: getattr(point.seen, name) for name in seen},
        "kind": point.facts.kind,
        "quantity": point.facts.quantity,
        "asked": point.asked(scope),
        "told": point.told(scope),
        "punch_item_ids": [item.id for item in point.items],
    }
