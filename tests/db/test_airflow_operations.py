"""Operations on flow tests: readings, K, the way to acceptance, and what is refused."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from balancing.airflow import queries
from balancing.airflow.models import FlowPoint, FlowTest, HoodReading
from balancing.airflow.operations import acceptance, instruments, k_factor, points
from balancing.airflow.operations import tests as operations
from projectsite.core import evidence, findings, reopens, waiting
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.scope import Scope
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.airflow import (
    ON,
    accept_flow_test,
    cfm,
    fill_flow_test,
    inch_water,
    k_ip,
    make_accepted_test,
    make_flow_test,
    make_instrument,
    point_of,
    read_point,
    submit_flow_test,
)
from tests.builders.inventory import CFM, make_outlet, make_unit, make_whole_unit
from zones.inventory.models import Outlet, TerminalUnit

KEY = UUID("0b7a4c1e-5c3b-4d0e-9a55-8f2a6f0e1c11")


@pytest.fixture
def balancer(cast: Cast) -> Scope:
    return cast.scope("balancer")


@pytest.fixture
def office(cast: Cast) -> Scope:
    return cast.scope("office")


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_whole_unit(cast.project)


@pytest.fixture
def opened(balancer: Scope, unit: TerminalUnit) -> FlowTest:
    return make_flow_test(balancer, unit)


@pytest.fixture
def filled(balancer: Scope, opened: FlowTest) -> FlowTest:
    return fill_flow_test(balancer, opened)


@pytest.fixture
def handed_in(balancer: Scope, filled: FlowTest) -> FlowTest:
    return submit_flow_test(balancer, filled)


def reading_at(test: FlowTest, **changes: Any) -> points.Reading:
    values: dict[str, Any] = {
        "point_id": point_of(test).pk,
        "outlet_id": test.design["outlets"][0]["id"],
        "repeat": 1,
        "flow": cfm(181),
        "client_key": KEY,
        "taken_at": AT,
    }
    return points.Reading(**(values | changes))


class TestBeginning:
    def test_a_point_for_every_scheduled_airflow_in_both_rounds(self, opened: FlowTest) -> None:
        found = FlowPoint.objects.filter(test=opened, round="as-found")
        targets = {p.setpoint: round((p.target_m3_s or 0) / CFM) for p in found}
        assert targets == {
            "cooling-max": 700,
            "middle": 440,
            "cooling-min": 180,
            "heating-max": 320,
        }
        assert FlowPoint.objects.filter(test=opened, round="as-left").count() == 4

    def test_a_minimum_of_zero_is_not_read(self, cast: Cast, balancer: Scope) -> None:
        test = make_flow_test(balancer, make_unit(cast.project, cooling_min_m3_s=0.0))
        setpoints = set(FlowPoint.objects.filter(test=test).values_list("setpoint", flat=True))
        assert setpoints == {"cooling-max", "middle"}

    def test_the_elevation_is_the_projects(self, cast: Cast, unit: TerminalUnit) -> None:
        cast.project.elevation_m = 1609.0
        cast.project.save()
        assert make_flow_test(cast.scope("balancer"), unit).elevation_m == 1609.0

    def test_the_same_key_again_gives_the_same_test(
        self, balancer: Scope, unit: TerminalUnit, opened: FlowTest
    ) -> None:
        begun = operations.start_test(
            balancer, unit_id=unit.pk, client_key=opened.client_key, tested_date=ON, at=AT
        )
        assert begun == operations.Begun(opened.pk, is_new=False)

    def test_a_key_of_another_unit_is_refused(
        self, cast: Cast, balancer: Scope, opened: FlowTest
    ) -> None:
        other = make_unit(cast.project, "TU-9")
        with pytest.raises(Conflict, match="client_key"):
            operations.start_test(
                balancer, unit_id=other.pk, client_key=opened.client_key, tested_date=ON, at=AT
            )

    def test_a_second_running_test_is_refused(
        self, balancer: Scope, unit: TerminalUnit, opened: FlowTest
    ) -> None:
        with pytest.raises(Conflict, match="flow test 1"):
            operations.start_test(
                balancer, unit_id=unit.pk, client_key=uuid4(), tested_date=ON, at=AT
            )

    def test_an_archived_unit_is_refused(self, cast: Cast, balancer: Scope) -> None:
        gone = make_unit(cast.project, archived_at=AT)
        with pytest.raises(Conflict, match="archived"):
            operations.start_test(balancer, unit_id=gone.pk, client_key=KEY, tested_date=ON, at=AT)

    def test_another_projects_unit_is_unknown(self, cast: Cast, balancer: Scope) -> None:
        foreign = make_unit(cast.other_project)
        with pytest.raises(NotFound):
            operations.start_test(
                balancer, unit_id=foreign.pk, client_key=KEY, tested_date=ON, at=AT
            )

    def test_the_office_says_whose_readings_they_are(
        self, office: Scope, unit: TerminalUnit
    ) -> None:
        with pytest.raises(InvalidInput, match="whose"):
            operations.start_test(office, unit_id=unit.pk, client_key=KEY, tested_date=ON, at=AT)

    def test_readings_by_the_office_are_on_behalf_of_the_balancer(
        self, cast: Cast, office: Scope, unit: TerminalUnit
    ) -> None:
        test = make_flow_test(office, unit, technician_id=cast.balancer.pk)
        assert (test.technician_id, test.entered_by_id) == (cast.balancer.pk, cast.office.pk)

    def test_an_installer_takes_no_readings(
        self, cast: Cast, office: Scope, unit: TerminalUnit
    ) -> None:
        with pytest.raises(InvalidInput, match="may not enter readings"):
            make_flow_test(office, unit, technician_id=cast.installer.pk)

    def test_a_controls_technician_may_not_begin(self, cast: Cast, unit: TerminalUnit) -> None:
        with pytest.raises(Forbidden):
            make_flow_test(cast.scope("controls"), unit)


class TestConditions:
    def test_a_stale_version_is_told(self, balancer: Scope, opened: FlowTest) -> None:
        with pytest.raises(Conflict, match="Somebody changed"):
            operations.save_conditions(
                balancer, test_id=opened.pk, version=opened.version - 1, conditions={"note": "x"}
            )

    def test_an_impossible_value_names_its_field(self, balancer: Scope, opened: FlowTest) -> None:
        with pytest.raises(InvalidInput) as refused:
            operations.save_conditions(
                balancer,
                test_id=opened.pk,
                version=opened.version,
                conditions={"zero_reading_pa": inch_water(12)},
            )
        assert set(refused.value.fields) == {"zero_reading_pa"}

    def test_the_text_as_entered_is_kept(self, opened: FlowTest) -> None:
        assert opened.entered["air_degc"] == "55 °F"

    def test_a_balancer_cannot_give_readings_to_somebody_else(
        self, cast: Cast, balancer: Scope, opened: FlowTest
    ) -> None:
        with pytest.raises(InvalidInput, match="Only the office"):
            operations.save_conditions(
                balancer,
                test_id=opened.pk,
                version=opened.version,
                conditions={"technician_id": cast.office.pk},
            )

    def test_an_archived_instrument_is_refused(
        self, cast: Cast, balancer: Scope, opened: FlowTest
    ) -> None:
        old = make_instrument(cast.project, "FH-0", archived_at=AT)
        with pytest.raises(InvalidInput, match="archived"):
            operations.save_conditions(
                balancer,
                test_id=opened.pk,
                version=opened.version,
                conditions={"instrument_id": old.pk},
            )


class TestReadings:
    def test_a_saved_point_keeps_design_and_factor_of_its_outlets(
        self, balancer: Scope, opened: FlowTest
    ) -> None:
        read_point(balancer, point_of(opened), reported=700, measured=[340, 350])
        Outlet.objects.update(hood_factor=1.1, design_m3_s=1.0)
        kept = HoodReading.objects.order_by("id")[0]
        assert (kept.flow_as_entered, kept.hood_factor) == ("340 cfm", 1.0)
        assert kept.design_m3_s == pytest.approx(350 * CFM)

    def test_the_same_values_twice_are_no_conflict(self, balancer: Scope, opened: FlowTest) -> None:
        point = point_of(opened)
        values: points.PointValues = {"reported_m3_s": cfm(700)}
        points.save_point(balancer, point_id=point.pk, version=1, values=values, at=AT)
        assert points.save_point(balancer, point_id=point.pk, version=1, values=values, at=AT) == 2

    def test_a_conflict_says_what_the_point_holds(self, balancer: Scope, opened: FlowTest) -> None:
        point = point_of(opened)
        read_point(balancer, point, reported=700, measured=[340, 350])
        outlet = opened.design["outlets"][0]["id"]
        with pytest.raises(Conflict) as refused:
            points.save_point(
                balancer,
                point_id=point.pk,
                version=1,
                values={"reported_m3_s": cfm(710)},
                readings={(outlet, 1): cfm(300)},
                at=AT,
            )
        assert refused.value.fields == {
            "reported_m3_s": "Now holds 700 cfm.",
            f"outlet-{outlet}-1": "Now holds 340 cfm.",
        }
        assert FlowPoint.objects.get(pk=point.pk).reported_m3_s == pytest.approx(700 * CFM)

    def test_an_emptied_field_takes_the_reading_out(
        self, balancer: Scope, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        version = read_point(balancer, point, reported=700, measured=[340, 350])
        first = opened.design["outlets"][0]["id"]
        points.save_point(
            balancer, point_id=point.pk, version=version, readings={(first, 1): None}, at=AT
        )
        assert not HoodReading.objects.filter(outlet_id=first).exists()

    def test_a_confused_unit_is_refused_and_nothing_is_written(
        self, balancer: Scope, opened: FlowTest
    ) -> None:
        point = point_of(opened)
        with pytest.raises(InvalidInput) as refused:
            read_point(balancer, point, reported=700, pressure=700, measured=[340, 350])
        assert set(refused.value.fields) == {"sensed_pressure_pa"}
        assert not HoodReading.objects.exists()

    def test_sending_a_reading_again_is_harmless(self, balancer: Scope, opened: FlowTest) -> None:
        first = points.record_reading(balancer, reading=reading_at(opened))
        again = points.record_reading(balancer, reading=reading_at(opened))
        assert (first.is_new, again.is_new) == (True, False)
        assert first.reading_id == again.reading_id
        assert HoodReading.objects.count() == 1

    @pytest.mark.parametrize("change", [{"repeat": 2}, {"flow": cfm(190)}])
    def test_a_key_of_another_reading_is_refused(
        self, balancer: Scope, opened: FlowTest, change: dict[str, Any]
    ) -> None:
        points.record_reading(balancer, reading=reading_at(opened))
        with pytest.raises(Conflict, match="client_key"):
            points.record_reading(balancer, reading=reading_at(opened, **change))

    def test_another_reading_at_the_same_place_is_a_conflict(
        self, balancer: Scope, opened: FlowTest
    ) -> None:
        points.record_reading(balancer, reading=reading_at(opened))
        with pytest.raises(Conflict, match="181 cfm"):
            points.record_reading(
                balancer, reading=reading_at(opened, client_key=uuid4(), flow=cfm(200))
            )

    def test_a_fourth_repeat_is_refused(self, balancer: Scope, opened: FlowTest) -> None:
        with pytest.raises(InvalidInput, match="three"):
            points.record_reading(balancer, reading=reading_at(opened, repeat=4))

    def test_an_outlet_of_another_unit_is_refused(
        self, cast: Cast, balancer: Scope, opened: FlowTest
    ) -> None:
        foreign = make_outlet(make_unit(cast.project, "TU-9"))
        with pytest.raises(InvalidInput, match="no such outlet"):
            points.record_reading(balancer, reading=reading_at(opened, outlet_id=foreign.pk))

    def test_a_batch_answers_for_each_reading(self, balancer: Scope, opened: FlowTest) -> None:
        good = reading_at(opened)
        bad = reading_at(opened, repeat=9, client_key=uuid4())
        answers = points.record_readings(balancer, readings=[good, bad, good])
        assert [isinstance(answer, points.Recorded) for answer in answers] == [True, False, True]
        assert isinstance(answers[2], points.Recorded)
        assert not answers[2].is_new

    def test_a_batch_has_an_end(self, balancer: Scope, opened: FlowTest) -> None:
        with pytest.raises(InvalidInput, match="50"):
            points.record_readings(balancer, readings=[reading_at(opened)] * 51)

    def test_a_reading_can_be_taken_out(self, balancer: Scope, opened: FlowTest) -> None:
        recorded = points.record_reading(balancer, reading=reading_at(opened))
        points.delete_reading(balancer, reading_id=recorded.reading_id)
        assert not HoodReading.objects.exists()

    def test_a_handed_in_test_takes_no_readings(self, balancer: Scope, handed_in: FlowTest) -> None:
        with pytest.raises(Conflict, match="handed in"):
            points.record_reading(balancer, reading=reading_at(handed_in, repeat=2))

    def test_another_projects_point_is_unknown(self, cast: Cast, opened: FlowTest) -> None:
        with pytest.raises(NotFound):
            points.record_reading(cast.stranger_scope(), reading=reading_at(opened))


class TestK:
    @pytest.fixture
    def off(self, balancer: Scope, opened: FlowTest) -> FlowTest:
        return fill_flow_test(balancer, opened, k_true=846)

    def test_the_recommended_k_is_taken(self, balancer: Scope, off: FlowTest) -> None:
        k_factor.take_recommended_k(
            balancer, test_id=off.pk, version=off.version, method="least-relative"
        )
        off.refresh_from_db()
        assert off.k_as_left_m3_s_sqrt_pa == pytest.approx(k_ip(846).value, rel=1e-3)
        assert off.k_method == "least-relative"

    def test_a_method_that_the_readings_do_not_allow(
        self, balancer: Scope, opened: FlowTest
    ) -> None:
        with pytest.raises(InvalidInput, match="do not allow"):
            k_factor.take_recommended_k(
                balancer, test_id=opened.pk, version=opened.version, method="zero-offset"
            )

    def test_a_large_change_needs_a_reason(self, balancer: Scope, opened: FlowTest) -> None:
        test = fill_flow_test(balancer, opened, k_true=700)
        act: dict[str, Any] = {
            "test_id": test.pk,
            "version": test.version,
            "method": "least-squares",
        }
        with pytest.raises(InvalidInput, match="needs a reason"):
            k_factor.take_recommended_k(balancer, **act)
        k_factor.take_recommended_k(balancer, **act, reason="Inlet is 7 in., measured.")
        test.refresh_from_db()
        assert test.k_reason == "Inlet is 7 in., measured."

    def test_by_hand_always_needs_a_reason(self, balancer: Scope, off: FlowTest) -> None:
        with pytest.raises(InvalidInput) as refused:
            k_factor.set_k(balancer, test_id=off.pk, version=off.version, k=k_ip(890), reason=" ")
        assert set(refused.value.fields) == {"reason"}

    def test_k_can_be_cleared(self, balancer: Scope, off: FlowTest) -> None:
        version = k_factor.set_k(
            balancer, test_id=off.pk, version=off.version, k=k_ip(890), reason="maker's sheet"
        )
        k_factor.clear_k(balancer, test_id=off.pk, version=version)
        off.refresh_from_db()
        assert (off.k_as_left_m3_s_sqrt_pa, off.k_method, off.k_reason) == (None, "", "")


class TestAcceptance:
    def test_what_is_missing_is_listed(self, balancer: Scope, opened: FlowTest) -> None:
        with pytest.raises(InvalidInput, match=r"cooling maximum as found.*K as left"):
            acceptance.submit(balancer, test_id=opened.pk, version=opened.version, at=AT)

    def test_a_handed_in_test_keeps_its_instrument(
        self, cast: Cast, balancer: Scope, office: Scope, handed_in: FlowTest
    ) -> None:
        assert handed_in.instrument is not None
        instruments.change_instrument(
            office,
            instrument_id=handed_in.instrument.pk,
            version=1,
            values={"accuracy_fraction": 0.2},
        )
        kept = queries.test_snapshot(balancer, handed_in.pk).instrument
        assert kept is not None
        assert kept.accuracy_fraction == 0.03

    def test_the_balancer_may_not_accept(self, balancer: Scope, handed_in: FlowTest) -> None:
        with pytest.raises(Forbidden):
            accept_flow_test(balancer, handed_in)

    def test_an_open_test_cannot_be_accepted(self, office: Scope, filled: FlowTest) -> None:
        with pytest.raises(Conflict, match="has not been handed in"):
            accept_flow_test(office, filled)

    def test_findings_need_a_reason(self, balancer: Scope, office: Scope, opened: FlowTest) -> None:
        test = submit_flow_test(balancer, fill_flow_test(balancer, opened, k_true=780))
        with pytest.raises(InvalidInput) as refused:
            accept_flow_test(office, test, note="")
        assert set(refused.value.fields) == {"note"}
        assert accept_flow_test(office, test, note="Designer agrees.").state == "accepted"

    def test_a_test_without_grave_findings_needs_none(
        self, office: Scope, handed_in: FlowTest
    ) -> None:
        assert accept_flow_test(office, handed_in, note="").state == "accepted"

    def test_a_stale_version_is_told(self, office: Scope, handed_in: FlowTest) -> None:
        with pytest.raises(Conflict, match="Somebody changed"):
            acceptance.accept(
                office, test_id=handed_in.pk, version=handed_in.version - 1, note="x", at=AT
            )

    def test_a_returned_test_says_what_to_do_and_can_be_handed_in_again(
        self, balancer: Scope, office: Scope, handed_in: FlowTest
    ) -> None:
        acceptance.return_to_balancer(
            office, test_id=handed_in.pk, version=handed_in.version, note="Read D-1.", at=AT
        )
        handed_in.refresh_from_db()
        assert (handed_in.state, handed_in.decision_note) == ("returned", "Read D-1.")
        acceptance.submit(balancer, test_id=handed_in.pk, version=handed_in.version, at=AT)
        handed_in.refresh_from_db()
        assert handed_in.state == "submitted"

    def test_returning_needs_words(self, office: Scope, handed_in: FlowTest) -> None:
        with pytest.raises(InvalidInput, match="what the balancer is to do"):
            acceptance.return_to_balancer(
                office, test_id=handed_in.pk, version=handed_in.version, note=" ", at=AT
            )

    def test_a_handed_in_test_can_be_taken_back(self, balancer: Scope, handed_in: FlowTest) -> None:
        acceptance.withdraw(balancer, test_id=handed_in.pk, version=handed_in.version)
        handed_in.refresh_from_db()
        assert (handed_in.state, handed_in.submitted_at) == ("open", None)

    def test_an_accepted_test_is_superseded_by_the_next(
        self, balancer: Scope, office: Scope, unit: TerminalUnit
    ) -> None:
        first = make_accepted_test(office, balancer, unit)
        second = make_accepted_test(office, balancer, unit)
        first.refresh_from_db()
        assert (first.state, second.state, second.number) == ("superseded", "accepted", 2)

    def test_an_accepted_test_cannot_be_edited(
        self, balancer: Scope, office: Scope, unit: TerminalUnit
    ) -> None:
        test = make_accepted_test(office, balancer, unit)
        with pytest.raises(Conflict, match="stays as it is"):
            operations.save_conditions(
                balancer, test_id=test.pk, version=test.version, conditions={"note": "x"}
            )
        with pytest.raises(Conflict, match="stays as it is"):
            read_point(balancer, point_of(test), reported=1, measured=[1, 1])
        with pytest.raises(Conflict, match="stays as it is"):
            operations.discard_test(balancer, test_id=test.pk, version=test.version)

    def test_a_running_test_can_be_discarded(self, balancer: Scope, filled: FlowTest) -> None:
        operations.discard_test(balancer, test_id=filled.pk, version=filled.version)
        assert not FlowTest.objects.exists()


class TestAddendum:
    def test_an_accepted_test_no_longer_proves_a_changed_unit(
        self, balancer: Scope, office: Scope, unit: TerminalUnit
    ) -> None:
        make_accepted_test(office, balancer, unit)
        (proof,) = (p for p in evidence.collect(office, [unit.pk]) if p.step == "airflow-verified")
        assert proof.holds
        unit.cooling_max_m3_s = 780 * CFM
        unit.save()
        (proof,) = (p for p in evidence.collect(office, [unit.pk]) if p.step == "airflow-verified")
        assert not proof.holds
        found = [f for f in findings.collect(office, [unit.pk]) if "schedule-change" in f.code]
        assert "700 cfm → 780 cfm" in found[0].message
        assert queries.unit_airflow(office, [unit.pk])[unit.pk].is_out_of_date

    def test_what_a_revision_reopens_is_told(
        self, balancer: Scope, office: Scope, unit: TerminalUnit
    ) -> None:
        make_accepted_test(office, balancer, unit)
        changes = {unit.pk: {"cooling_max_m3_s": (700 * CFM, 780 * CFM)}}
        (reopened,) = (r for r in reopens.collect(office, changes) if "Flow test" in r.text)
        assert "accepted for another cooling maximum" in reopened.text
        harmless = {unit.pk: {"location": ("here", "there")}}
        assert not [r for r in reopens.collect(office, harmless) if "Flow test" in r.text]

    def test_a_running_test_takes_the_schedule_over(
        self, balancer: Scope, unit: TerminalUnit, filled: FlowTest
    ) -> None:
        unit.cooling_max_m3_s = 780 * CFM
        unit.heating_max_m3_s = None
        unit.save()
        make_outlet(unit, "D-3")
        operations.take_over_schedule(balancer, test_id=filled.pk, version=filled.version)
        assert point_of(filled).target_m3_s == pytest.approx(780 * CFM)
        # What was read at the heating maximum stays; the empty point as left goes.
        heating = FlowPoint.objects.filter(test=filled, setpoint="heating-max")
        assert [point.round for point in heating] == ["as-found"]
        filled.refresh_from_db()
        assert len(filled.design["outlets"]) == 3

    def test_findings_are_read_in_the_persons_units(self, cast: Cast, unit: TerminalUnit) -> None:
        cast.office.reading_system = "si"
        cast.office.save()
        office = cast.scope("office")
        make_accepted_test(office, cast.scope("balancer"), unit)
        unit.cooling_max_m3_s = 0.4
        unit.save()
        found = [f for f in findings.collect(office, [unit.pk]) if "schedule-change" in f.code]
        assert "→ 400 L/s" in found[0].message


class TestWaiting:
    def test_the_office_is_told_of_tests_to_accept(
        self, cast: Cast, office: Scope, balancer: Scope, handed_in: FlowTest
    ) -> None:
        told = waiting.collect(office.person)[cast.project.key]
        assert [(i.text, i.count) for i in told if "flow test" in i.text] == [
            ("flow test to accept", 1)
        ]
        assert not [
            i
            for i in waiting.collect(balancer.person).get(cast.project.key, [])
            if "flow" in i.text
        ]

    def test_the_balancer_is_told_of_returned_tests(
        self, cast: Cast, office: Scope, balancer: Scope, handed_in: FlowTest
    ) -> None:
        acceptance.return_to_balancer(
            office, test_id=handed_in.pk, version=handed_in.version, note="Again.", at=AT
        )
        told = waiting.collect(balancer.person)[cast.project.key]
        assert [(i.text, i.count) for i in told] == [("returned flow test to mend", 1)]

    def test_nobody_is_told_of_another_project(self, cast: Cast, handed_in: FlowTest) -> None:
        assert waiting.collect(cast.stranger_scope().person) == {}


class TestInstruments:
    @pytest.mark.parametrize(
        ("content", "ending"),
        [(b"%PDF-1.7 x", ".pdf"), (b"\x89PNG\r\n\x1a\nx", ".png"), (b"\xff\xd8\xff\xe0x", ".jpg")],
    )
    def test_a_certificate_is_known_by_its_content(
        self, cast: Cast, balancer: Scope, content: bytes, ending: str
    ) -> None:
        hood = make_instrument(cast.project)
        instruments.keep_certificate(balancer, instrument_id=hood.pk, content=content)
        hood.refresh_from_db()
        assert str(hood.certificate.name).endswith(ending)

    @pytest.mark.parametrize("content", [b"", b"<html>", b"MZ", b" %PDF-1.7"])
    def test_anything_else_is_refused(self, cast: Cast, balancer: Scope, content: bytes) -> None:
        hood = make_instrument(cast.project)
        with pytest.raises(InvalidInput, match="PDF, PNG or JPEG"):
            instruments.keep_certificate(balancer, instrument_id=hood.pk, content=content)

    def test_a_refused_certificate_leaves_the_instrument_as_it_was(
        self, cast: Cast, balancer: Scope
    ) -> None:
        hood = make_instrument(cast.project)
        with pytest.raises(InvalidInput):
            instruments.change_instrument(
                balancer,
                instrument_id=hood.pk,
                version=1,
                values={"name": "Other"},
                certificate=b"no",
            )
        hood.refresh_from_db()
        assert hood.name == "Hood 1"

    def test_the_due_date_follows_the_calibration(self, cast: Cast, balancer: Scope) -> None:
        hood = make_instrument(cast.project)
        assert hood.calibrated_date is not None
        with pytest.raises(InvalidInput, match="before it was made"):
            instruments.change_instrument(
                balancer,
                instrument_id=hood.pk,
                version=1,
                values={"due_date": hood.calibrated_date - timedelta(days=1)},
            )

    def test_an_archived_instrument_comes_back(self, cast: Cast, balancer: Scope) -> None:
        hood = make_instrument(cast.project)
        instruments.archive_instrument(balancer, instrument_id=hood.pk, version=1, at=AT)
        instruments.restore_instrument(balancer, instrument_id=hood.pk, version=2)
        hood.refresh_from_db()
        assert hood.archived_at is None

    def test_a_controls_technician_may_not(self, cast: Cast) -> None:
        hood = make_instrument(cast.project)
        with pytest.raises(Forbidden):
            instruments.archive_instrument(
                cast.scope("controls"), instrument_id=hood.pk, version=1, at=AT
            )
