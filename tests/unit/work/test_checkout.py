"""Judging checkout points: limits, missing data, sentences, and the choice of a list."""

from __future__ import annotations

import pytest

from projectsite.core import units
from projectsite.core.quantities import KINDS
from zones.work.domain.board import UnitOptions, applies
from zones.work.domain.checkout import PointFacts, Seen, asked, explain, judge
from zones.work.domain.checkout_lists import STARTER_POINTS, ListFacts, caution, suited

VOLTS = PointFacts("range", "control_voltage", low_si=20.4, high_si=28.8)
ROOM = PointFacts("sensor", "temperature", tolerance_si=0.5)


def show_ip(value: float, kind: str) -> str:
    return units.show(value, kind, "ip", with_unit=True)


@pytest.mark.parametrize(
    ("point", "seen", "verdict"),
    [
        # 24 V -15 % and +20 % are 20.4 V and 28.8 V (common practice, no source).
        (VOLTS, Seen(observed_si=24 * 0.85), "pass"),
        (VOLTS, Seen(observed_si=24 * 1.2), "pass"),
        (VOLTS, Seen(observed_si=20.39), "fail"),
        (VOLTS, Seen(observed_si=28.81), "fail"),
        (VOLTS, Seen(), ""),
        (PointFacts("range", "duration"), Seen(observed_si=90.0), ""),
        (PointFacts("range", "duration", high_si=0.0), Seen(observed_si=0.0), "pass"),
        # 0.9 °F is exactly 0.5 K; conversion noise must not fail it.
        (ROOM, Seen(units.to_si(72.9, "degree_Fahrenheit", "temperature"), 200 / 9), "pass"),
        (ROOM, Seen(21.0, 21.6), "fail"),
        (ROOM, Seen(21.0), ""),
        (ROOM, Seen(reference_si=21.0), ""),
        (PointFacts("sensor", "temperature"), Seen(21.0, 21.0), ""),
        (PointFacts("match", expected="7"), Seen(observed_text=" 007 "), "pass"),
        (PointFacts("match", expected="Room  A"), Seen(observed_text="room a"), "pass"),
        (PointFacts("match", expected="7"), Seen(observed_text="17"), "fail"),
        (PointFacts("match", expected=""), Seen(observed_text="7"), ""),
        (PointFacts("match", expected="0"), Seen(observed_text="0"), "pass"),
        (PointFacts("confirm"), Seen(is_right=True), "pass"),
        (PointFacts("confirm"), Seen(is_right=False), "fail"),
        (PointFacts("confirm"), Seen(), ""),
    ],
)
def test_verdict(point: PointFacts, seen: Seen, verdict: str) -> None:
    assert judge(point, seen) == verdict


def test_unknown_kind_is_no_pass() -> None:
    with pytest.raises(ValueError, match="guess"):
        judge(PointFacts("guess"), Seen(observed_si=1.0))


@pytest.mark.parametrize(
    ("point", "seen", "sentence"),
    [
        (VOLTS, Seen(19.9), "19.9 V is outside 20.4 V to 28.8 V."),
        (
            ROOM,
            Seen(20.0, 25.0),
            (
                "It reads 68.0 °F, the reference 77.0 °F: 9.0 °F apart, more than the 0.9 °F that "
                "are allowed."
            ),
        ),
        (PointFacts("match", expected="7"), Seen(observed_text="9"), "It reads 9; 7 is expected."),
        (
            PointFacts("match", source="mac-address"),
            Seen(observed_text="9"),
            "The unit has no MAC address recorded; record it first.",
        ),
        (PointFacts("confirm"), Seen(is_right=False), "Seen, and it is wrong."),
    ],
)
def test_the_sentence_has_figures_and_units(point: PointFacts, seen: Seen, sentence: str) -> None:
    assert explain(point, seen, show_ip) == sentence


def test_what_is_asked_has_its_unit() -> None:
    assert asked(ROOM, show_ip) == "the reference ± 0.9 °F"
    assert asked(VOLTS, show_ip) == "20.4 V to 28.8 V"


def _applying(unit: UnitOptions) -> set[str]:
    return {
        point.key
        for point in STARTER_POINTS
        if applies(unit, heats=point.heats, fans=point.fans, needs=point.needs)
    }


def test_the_usual_list_follows_the_options() -> None:
    plain = _applying(UnitOptions(1))
    assert not plain & {"valve-direction", "heater-on", "fan-command", "discharge-sensor"}
    water = _applying(UnitOptions(1, heat="hot-water"))
    assert water - plain == {"valve-direction", "valve-stroke", "discharge-sensor"}
    electric = _applying(UnitOptions(1, heat="electric", fan="series", occupancy_sensor="yes"))
    assert {"heater-off", "heater-on", "fan-command", "occupancy-input"} <= electric


def test_the_usual_list_can_be_judged() -> None:
    for point in STARTER_POINTS:
        assert not point.quantity or point.quantity in KINDS
        assert point.kind != "sensor" or point.tolerance_si
        assert point.kind != "range" or (point.low_si is not None and point.high_si is not None)
        assert point.kind != "match" or point.source
        assert not point.key.startswith("heater") or "licensed" in caution(point.key)


def test_the_most_exact_list_is_chosen() -> None:
    any_unit = ListFacts(1, "Any")
    water = ListFacts(2, "Water", heats=("hot-water",))
    model = ListFacts(3, "Model", controller_model_id=5)
    both = ListFacts(4, "Both", controller_model_id=5, heats=("hot-water",))
    lists = [any_unit, water, model, both]
    unit = UnitOptions(1, heat="hot-water")
    assert suited(lists, unit, 5) is both
    assert suited(lists, unit, 6) is water
    assert suited(lists, UnitOptions(1), 5) is model
    assert suited([water], UnitOptions(1), 5) is None
