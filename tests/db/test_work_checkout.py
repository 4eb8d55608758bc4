"""Checkouts: constraints, operations, proofs, and the way from a failure to its mending."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from projectsite.accounts.models import Project
from projectsite.core import beginnings, evidence, reopens
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.units import Entered
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_controller_model, make_unit
from tests.builders.work_checkout import make_checkout, make_list, pass_all, see, volts
from zones.inventory.models import TerminalUnit
from zones.work.domain.checkout_lists import STARTER_POINTS
from zones.work.models import Checkout, CheckoutPoint, CheckTemplate, CheckTemplatePoint, PunchItem
from zones.work.operations import checkout_lists as list_operations
from zones.work.operations import checkouts as operations
from zones.work.operations.punch import answer_item, verify_item
from zones.work.queries.checkout_lines import lines, next_unit
from zones.work.queries.checkout_proofs import CHECKED_OUT, POWER_LANDED
from zones.work.queries.checkouts import checkout_sheet, sheet

Recorder = Callable[[str], AbstractContextManager[None]]


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project, mac_address=7, device_instance=207)


@pytest.fixture
def checkout(cast: Cast, unit: TerminalUnit) -> Checkout:
    return make_checkout(cast.scope("office"), unit, cast.scope("controls"))


def proofs_of(cast: Cast, unit: TerminalUnit) -> dict[str, evidence.Proof]:
    found = evidence.collect(cast.scope("owner"), [unit.pk])
    return {proof.step: proof for proof in found}


@pytest.mark.parametrize(
    ("table", "change", "constraint"),
    [
        ("work_checktemplate", "name = ''", "checktemplate_name_given"),
        ("work_checktemplate", "heats = '{steam}'", "checktemplate_options_known"),
        ("work_checktemplatepoint", "name = ''", "checktemplatepoint_name_given"),
        ("work_checktemplatepoint", "kind = 'guess'", "checktemplatepoint_words_known"),
        ("work_checktemplatepoint", "source = 'moon'", "checktemplatepoint_words_known"),
        ("work_checktemplatepoint", "needs = '{luck}'", "checktemplatepoint_options_known"),
        ("work_checktemplatepoint", "low_si = 2, high_si = 1", "checktemplatepoint_limits"),
        ("work_checktemplatepoint", "tolerance_si = -1", "checktemplatepoint_limits"),
        ("work_checktemplatepoint", "key = 'same'", "checktemplatepoint_key_unique"),
        ("work_checkout", "completed_at = now()", "checkout_completed_whole"),
        ("work_checkoutpoint", "owes = 'nobody'", "checkoutpoint_words_known"),
        ("work_checkoutpoint", "source = 'moon'", "checkoutpoint_words_known"),
        (
            "work_checkoutpoint",
            (
                "verdict = 'odd', observed_at = now(), "
                "observed_by_id = c.begun_by_id FROM work_checkout c"
            ),
            "checkoutpoint_verdict_known",
        ),
        ("work_checkoutpoint", "verdict = 'pass'", "checkoutpoint_judged_by_someone"),
        ("work_checkoutpoint", "key = 'same'", "checkoutpoint_key_unique"),
    ],
)
def test_constraint_holds(checkout: Checkout, table: str, change: str, constraint: str) -> None:
    assert checkout.pk
    with (
        pytest.raises(IntegrityError, match=constraint),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE {table} SET {change}")


def test_one_current_checkout_and_one_list_of_a_name(cast: Cast, checkout: Checkout) -> None:
    copy_row = "project_id, unit_id, template_name, reference_instrument, note, profile"
    for table, columns, constraint in [
        ("work_checkout", f"{copy_row}, begun_by_id, begun_at, version", "checkout_one_current"),
        (
            "work_checktemplate",
            "project_id, name, heats, fans, version",
            "checktemplate_name_unique",
        ),
    ]:
        with (
            pytest.raises(IntegrityError, match=constraint),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table}")
    assert checkout.project_id == cast.project.pk


def test_a_point_stays_in_its_project(cast: Cast, checkout: Checkout) -> None:
    for table in ("work_checkoutpoint", "work_checktemplatepoint"):
        change = f"SET CONSTRAINTS ALL IMMEDIATE; UPDATE {table} SET project_id = %s"
        with (
            pytest.raises(IntegrityError, match="foreign key"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(change % cast.other_project.pk)
    assert checkout.points.exists()


class TestLists:
    def test_a_new_project_begins_with_the_usual_list(self, cast: Cast) -> None:
        beginnings.begin(cast.scope("office"), AT)
        found = CheckTemplate.objects.get(project=cast.project)
        assert found.points.count() == len(STARTER_POINTS)
        with pytest.raises(Conflict, match="already"):
            list_operations.load_starter(cast.scope("office"))
        with pytest.raises(Forbidden):
            list_operations.load_starter(cast.scope("controls"))

    def test_points_are_added_changed_moved_and_removed(self, cast: Cast) -> None:
        office = cast.scope("office")
        list_id = list_operations.add_list(office, values={"name": " Fan boxes "})
        first = list_operations.add_point(
            office,
            list_id=list_id,
            version=1,
            values={"name": "Belt is tight", "kind": "confirm", "owes": "mechanical"},
        )
        second = list_operations.add_point(
            office,
            list_id=list_id,
            version=2,
            values={
                "name": "Belt is tight",
                "kind": "range",
                "quantity": "duration",
                "high_si": 9.0,
            },
        )
        version = list_operations.move_point(
            office, list_id=list_id, point_id=second, version=3, to=1
        )
        version = list_operations.change_point(
            office, list_id=list_id, point_id=second, version=version, values={"low_si": 3.0}
        )
        points = CheckTemplatePoint.objects.filter(template_id=list_id).order_by("position")
        assert [(p.pk, p.key) for p in points] == [
            (second, "belt-is-tight-2"),
            (first, "belt-is-tight"),
        ]
        with pytest.raises(InvalidInput) as caught:
            list_operations.change_point(
                office, list_id=list_id, point_id=second, version=version, values={"low_si": 10.0}
            )
        assert "low_si" in caught.value.fields
        with pytest.raises(Conflict, match="Somebody changed"):
            list_operations.remove_point(office, list_id=list_id, point_id=first, version=1)
        list_operations.remove_point(office, list_id=list_id, point_id=first, version=version)
        assert [p.pk for p in points.all()] == [second]

    @pytest.mark.parametrize(
        ("values", "field"),
        [
            ({"kind": "range", "quantity": "duration"}, "low_si"),
            ({"kind": "range", "high_si": 1.0}, "quantity"),
            ({"kind": "sensor", "quantity": "temperature"}, "tolerance_si"),
            ({"kind": "match"}, "expected"),
            ({"kind": "guess"}, "kind"),
        ],
    )
    def test_a_point_that_nobody_could_judge_is_refused(
        self, cast: Cast, values: Any, field: str
    ) -> None:
        office = cast.scope("office")
        values["name"] = "Odd"
        list_id = list_operations.add_list(office, values={"name": "Any"})
        with pytest.raises(InvalidInput) as caught:
            list_operations.add_point(office, list_id=list_id, version=1, values=values)
        assert field in caught.value.fields
        assert not CheckTemplatePoint.objects.exists()

    def test_archived_and_restored(self, cast: Cast) -> None:
        office = cast.scope("office")
        made = make_list(office)
        list_operations.archive_list(office, list_id=made.pk, version=1, at=AT)
        list_operations.add_list(office, values={"name": made.name.upper()})
        with pytest.raises(Conflict, match="Rename"):
            list_operations.restore_list(office, list_id=made.pk)
        with pytest.raises(NotFound):
            list_operations.archive_list(cast.stranger_scope(), list_id=made.pk, at=AT)


class TestCheckingOut:
    def test_from_failure_to_verified(self, cast: Cast, unit: TerminalUnit) -> None:
        """The damper strokes too slowly, a punch item opens, is mended, passes, is verified."""
        controls = cast.scope("controls")
        checkout = make_checkout(cast.scope("office"), unit, controls)
        slow: operations.Observation = {"observed": Entered(240.0, "4 min")}
        first = see(controls, checkout, "damper-stroke", slow)
        item = PunchItem.objects.get()
        assert first.verdict == "fail"
        assert first.opened_item_id == item.pk
        assert "240 s is outside 30 s to 180 s" in item.text
        assert (item.trade, item.severity, item.unit_id) == ("controls", "holds", unit.pk)
        again = see(controls, checkout, "damper-stroke", slow)
        assert again.opened_item_id is None
        assert PunchItem.objects.count() == 1

        version = answer_item(
            controls, item_id=item.pk, version=item.version, text="Linkage freed.", at=AT
        )
        with pytest.raises(Conflict, match="still says"):
            verify_item(cast.scope("office"), item_id=item.pk, version=version, text="", at=AT)
        assert (
            see(controls, checkout, "damper-stroke", {"observed": Entered(95.0, "95 s")}).verdict
            == "pass"
        )
        item.refresh_from_db()
        assert item.state == "answered"
        verify_item(cast.scope("office"), item_id=item.pk, version=version, text="", at=AT)
        item.refresh_from_db()
        assert item.state == "verified"
        # Failing after that is a new thing to mend.
        assert see(controls, checkout, "damper-stroke", slow).opened_item_id not in (None, item.pk)

    def test_complete_names_what_is_missing(self, cast: Cast, checkout: Checkout) -> None:
        controls = cast.scope("controls")
        see(controls, checkout, "supply-voltage", volts(19.0))
        with pytest.raises(Conflict) as caught:
            operations.complete(controls, checkout_id=checkout.pk, version=1, at=AT)
        assert "24 V at the controller’s terminals (fails)" in caught.value.message
        assert "MAC address (open)" in caught.value.message
        assert "Button of the room sensor" not in caught.value.message
        assert Checkout.objects.get(pk=checkout.pk).completed_at is None

    def test_a_point_takes_its_own_kind_of_value_in_its_own_version(
        self, cast: Cast, checkout: Checkout
    ) -> None:
        controls = cast.scope("controls")
        with pytest.raises(InvalidInput) as caught:
            see(controls, checkout, "supply-voltage", {"is_right": True})
        assert "is_right" in caught.value.fields
        point = CheckoutPoint.objects.get(checkout=checkout, key="supply-voltage")
        with pytest.raises(Conflict, match="somebody else"):
            operations.observe(controls, point_id=point.pk, version=9, seen=volts(24.0), at=AT)
        with pytest.raises(NotFound):
            operations.observe(
                cast.stranger_scope(), point_id=point.pk, version=1, seen=volts(24.0), at=AT
            )
        with pytest.raises(Forbidden):
            operations.observe(
                cast.scope("installer"), point_id=point.pk, version=1, seen=volts(24.0), at=AT
            )
        assert not PunchItem.objects.exists()

    def test_taking_back_leaves_no_verdict(self, cast: Cast, checkout: Checkout) -> None:
        controls = cast.scope("controls")
        see(controls, checkout, "supply-voltage", volts(24.0))
        assert see(controls, checkout, "supply-voltage", {"observed": None}).verdict == ""
        point = CheckoutPoint.objects.get(checkout=checkout, key="supply-voltage")
        assert (point.observed_by_id, point.observed_at, point.entered) == (None, None, {})

    def test_an_address_recorded_later_is_taken(self, cast: Cast) -> None:
        bare = make_unit(cast.project, "TU-2-9")
        checkout = make_checkout(cast.scope("office"), bare)
        office = cast.scope("office")
        assert see(office, checkout, "mac-address", {"observed_text": "9"}).verdict == ""
        TerminalUnit.objects.filter(pk=bare.pk).update(mac_address=9)
        assert see(office, checkout, "mac-address", {"observed_text": "9"}).verdict == "pass"
        assert sheet(office, checkout.pk).changed == ()

    def test_copy_takes_points_and_limits_but_nothing_seen(
        self, cast: Cast, checkout: Checkout
    ) -> None:
        controls = cast.scope("controls")
        operations.describe(
            controls,
            checkout_id=checkout.pk,
            version=1,
            values={"reference_instrument": "Thermometer 4"},
        )
        CheckoutPoint.objects.filter(checkout=checkout, key="room-sensor").update(tolerance_si=0.3)
        see(controls, checkout, "mac-address", {"observed_text": "7"})
        other = make_unit(cast.project, "TU-2-2", mac_address=8)
        make_unit(cast.project, "TU-2-3", heat="electric")
        found = next_unit(controls, checkout.pk)
        assert found is not None
        assert found.id == other.pk
        copied = operations.begin(controls, unit_id=other.pk, copy_from=checkout.pk, at=AT)
        [made] = checkout_sheet(controls, [other.pk])
        assert (made.id, made.reference_instrument) == (copied, "Thermometer 4")
        of_key = {point.key: point for point in made.points}
        assert of_key["room-sensor"].facts.tolerance_si == 0.3
        assert of_key["mac-address"].facts.expected == "8"
        assert {point.verdict for point in made.points} == {""}
        assert next_unit(controls, copied) is None
        electric = TerminalUnit.objects.get(tag="TU-2-3")
        with pytest.raises(Conflict, match="other options"):
            operations.begin(controls, unit_id=electric.pk, copy_from=checkout.pk, at=AT)

    def test_beginning_again_supersedes(
        self, cast: Cast, unit: TerminalUnit, checkout: Checkout
    ) -> None:
        controls = cast.scope("controls")
        second = operations.begin(controls, unit_id=unit.pk, at=AT + timedelta(days=1))
        assert [s.id for s in checkout_sheet(controls, [unit.pk])] == [second]
        with pytest.raises(Conflict, match="later checkout"):
            see(controls, checkout, "supply-voltage", volts(24.0))

    def test_no_list_fits(self, cast: Cast, unit: TerminalUnit) -> None:
        model = make_controller_model()
        CheckTemplate.objects.create(
            project=cast.project, name="Of a model", controller_model=model
        )
        with pytest.raises(Conflict, match="No checkout list fits TU-2-1"):
            operations.begin(cast.scope("office"), unit_id=unit.pk, at=AT)
        assert not Checkout.objects.exists()


class TestProofs:
    def test_the_record_decides(self, cast: Cast, unit: TerminalUnit, checkout: Checkout) -> None:
        controls = cast.scope("controls")
        assert CHECKED_OUT in evidence.decided_steps()
        assert POWER_LANDED not in evidence.decided_steps()
        assert CHECKED_OUT not in proofs_of(cast, unit)
        pass_all(controls, checkout)
        assert CHECKED_OUT not in proofs_of(cast, unit)
        operations.complete(controls, checkout_id=checkout.pk, version=1, at=AT)
        found = proofs_of(cast, unit)
        assert found[CHECKED_OUT].holds
        assert found[POWER_LANDED].holds
        assert "28.8 V is within 20.4 V to 28.8 V" in found[POWER_LANDED].text

        see(controls, checkout, "supply-voltage", volts(19.0))
        found = proofs_of(cast, unit)
        assert not found[CHECKED_OUT].holds
        assert not found[POWER_LANDED].holds
        see(controls, checkout, "supply-voltage", volts(24.0))
        assert proofs_of(cast, unit)[CHECKED_OUT].holds

        TerminalUnit.objects.filter(pk=unit.pk).update(mac_address=8, heat="electric")
        found = proofs_of(cast, unit)
        assert not found[CHECKED_OUT].holds
        assert "reheat and the MAC address changed" in found[CHECKED_OUT].text
        assert [line.state for line in lines(controls)] == ["outdated"]

    def test_a_changed_schedule_reopens(
        self, cast: Cast, unit: TerminalUnit, checkout: Checkout
    ) -> None:
        found = reopens.collect(
            cast.scope("office"),
            {unit.pk: {"controller_model": (None, "B"), "cooling_max_m3_s": (1.0, 2.0)}},
        )
        texts = [item.text for item in found if "checkout" in item.text]
        assert texts == [
            (
                "The checkout was made for another controller model; the unit has to be checked "
                "out again."
            )
        ]
        assert not reopens.collect(cast.scope("office"), {unit.pk: {"note": ("", "x")}})
        assert checkout.unit_id == unit.pk


def test_sheets_take_a_fixed_number_of_queries(
    cast: Cast, unit: TerminalUnit, checkout: Checkout, recorded_queries: Recorder
) -> None:
    others = [make_unit(Project.objects.get(pk=cast.project.pk), f"TU-3-{n}") for n in range(5)]
    for other in others:
        make_checkout(cast.scope("office"), other)
    with recorded_queries("work: checkout sheets"):
        found = checkout_sheet(cast.scope("office"), [unit.pk, *(o.pk for o in others)])
    assert len(found) == 6
    assert checkout.pk == found[0].id


def test_a_checkout_of_a_unit_that_changed_since_is_not_completed(
    cast: Cast, unit: TerminalUnit, checkout: Checkout
) -> None:
    pass_all(cast.scope("controls"), checkout)
    TerminalUnit.objects.filter(pk=unit.pk).update(heat="hot-water")
    with pytest.raises(Conflict, match="changed since this checkout began"):
        operations.complete(
            cast.scope("controls"), checkout_id=checkout.pk, version=checkout.version, at=AT
        )
