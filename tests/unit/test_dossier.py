"""Dossiers: stored and read back without loss, compared, and judged before an issue."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.domain.codec import BrokenDossier
from reports.domain.compare import compare
from reports.domain.dossier import Dossier, Verdict, instruments
from reports.domain.readiness import readiness
from tests.builders.reports import (
    CFM,
    make_dossier,
    make_point,
    make_test_data,
    make_unit_data,
    make_untested_unit,
)


@pytest.mark.parametrize("kind", ["unit-balance", "balance-report", "point-list"])
def test_a_dossier_survives_storing(kind: str) -> None:
    dossier = make_dossier(kind, units=12)
    stored = json.loads(json.dumps(dossier.to_json()))
    assert Dossier.from_json(stored) == dossier


@given(st.floats(allow_nan=False, allow_infinity=False), st.text(), st.integers(0, 9))
def test_any_figure_and_text_survives_storing(flow: float, text: str, revision: int) -> None:
    unit = make_unit_data("TU-1", cooling_max_m3_s=flow, location=text, revision=revision)
    dossier = replace(make_dossier(), units=(unit,))
    assert Dossier.from_json(json.loads(json.dumps(dossier.to_json()))) == dossier


def _broken(change: Any) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(json.dumps(make_dossier().to_json()))
    change(data)
    return data


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.update(schema=2), "schema 2"),
        (lambda d: d.update(colour="red"), "colour"),
        (lambda d: d["frame"].update(kind=7), "frame.kind"),
        (lambda d: d["units"][0].update(tag=None), "units[0].tag"),
        (lambda d: d["units"][0].pop("tag"), "tag"),
        (lambda d: d["units"].append("TU-9"), "units[1]"),
        (lambda d: d.update(units="TU-9"), "dossier.units"),
        (lambda d: d["project"]["tolerances"].update(guard_band="no"), "guard_band"),
    ],
)
def test_what_does_not_fit_is_named(change: Any, words: str) -> None:
    with pytest.raises(BrokenDossier) as refused:
        Dossier.from_json(_broken(change))
    assert words in str(refused.value)


def test_an_older_dossier_takes_defaults_for_what_it_lacks() -> None:
    data = _broken(lambda d: d["units"][0].pop("standby_min_m3_s"))
    assert Dossier.from_json(data).units[0].standby_min_m3_s is None


def test_nothing_differs_in_a_dossier_and_itself() -> None:
    assert compare(make_dossier(units=3), make_dossier(units=3)) == []


def test_noise_of_conversion_is_no_difference() -> None:
    old = replace(make_dossier(), units=(make_unit_data("A", cooling_max_m3_s=450 * CFM),))
    new = replace(old, units=(make_unit_data("A", cooling_max_m3_s=0.9 * 500 * CFM),))
    assert compare(old, new) == []


def test_changed_figures_are_named_with_both_values() -> None:
    old = replace(make_dossier(), units=(make_unit_data("A"), make_unit_data("B")))
    moved = make_unit_data(
        "A", cooling_max_m3_s=800 * CFM, test=make_test_data(k_as_left_m3_s_sqrt_pa=0.03)
    )
    new = replace(old, units=(moved, make_unit_data("C")))
    found = {(d.subject, d.what): (d.kind, d.old, d.new) for d in compare(old, new)}
    assert found["A", "cooling maximum"] == ("airflow", 780 * CFM, 800 * CFM)
    assert found["A", "K as left"][0] == "k_factor"
    assert found["B", "terminal unit"] == ("", "listed", "no longer listed")
    assert found["C", "terminal unit"] == ("", None, "added")
    assert len(found) == 4


def test_changed_points_verdicts_and_open_items_are_named() -> None:
    first = make_test_data(points=(make_point("cooling-max", "as-left", 780, 780, 774),))
    second = make_test_data(points=(make_point("cooling-max", "as-left", 780, 780, 700),))
    old = replace(make_dossier(), units=(make_unit_data("A", test=first),))
    new = replace(old, units=(make_unit_data("A", test=second, findings=()),))
    found = {d.what: (d.old, d.new) for d in compare(old, new)}
    assert found["as left at cooling maximum, verdict"] == ("in tolerance", "out of tolerance")
    assert found["as left at cooling maximum, measured"] == (774 * CFM, 700 * CFM)
    assert found["open item"][1] == "settled"


def test_each_instrument_is_listed_once() -> None:
    assert len(instruments(make_dossier("balance-report", units=12))) == 1


def test_a_sheet_needs_an_accepted_test() -> None:
    dossier = replace(make_dossier(), units=(make_untested_unit("TU-9"),))
    assert readiness(dossier).missing == ("Not tested: TU-9.",)


def test_a_sheet_of_a_stale_test_is_refused() -> None:
    stale = make_unit_data("TU-9", state=Verdict("hold", "out of date"))
    missing = readiness(replace(make_dossier(), units=(stale,))).missing
    assert missing == ("Tested before the schedule changed: TU-9.",)


def test_a_report_may_go_out_with_open_units_but_not_with_none() -> None:
    report = make_dossier("balance-report", units=12)
    assert readiness(report).missing == ()
    assert readiness(report).open_items == ("Not tested: TU-2-19.",)
    nothing = replace(report, units=(make_untested_unit("TU-1"), make_untested_unit("TU-2")))
    assert readiness(nothing).missing == ("Not tested: TU-1, TU-2.",)


def test_a_point_list_names_its_blanks() -> None:
    assert readiness(make_dossier("point-list", units=12)).open_items == (
        "No device instance: TU-2-19.",
    )
