"""What changes of the inventory do, refuse and leave behind."""

from __future__ import annotations

from pathlib import Path

import pytest

from projectsite.core import units
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.units import Entered
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import (
    CFM,
    make_air_handler,
    make_box_model,
    make_inlet,
    make_outlet,
    make_unit,
    make_whole_unit,
    make_zone,
)
from zones.inventory import operations, queries
from zones.inventory.models import BoxInlet, BoxModel, ControllerModel, Outlet, TerminalUnit


def typed(text: str) -> Entered:
    return units.parse(text, "airflow", default_unit="cubic_foot_per_minute")


def test_a_quantity_is_kept_in_si_and_as_typed(cast: Cast) -> None:
    values = {"tag": " TU-10 ", "cooling_max_m3_s": typed("1,250"), "cooling_min_m3_s": 0.1}
    unit = TerminalUnit.objects.get(pk=operations.add_unit(cast.scope(), values=values))
    assert unit.tag == "TU-10"
    assert unit.cooling_max_m3_s == pytest.approx(1250 * CFM, rel=1e-9)
    assert unit.entered == {"cooling_max_m3_s": "1,250 cfm"}
    assert unit.sort_key == "tu-000000000010"
    assert unit.version == 1


def test_the_typed_text_goes_when_the_value_is_changed_without_one(cast: Cast) -> None:
    scope = cast.scope()
    unit_id = operations.add_unit(
        scope, values={"tag": "TU-1", "cooling_max_m3_s": typed("400 cfm")}
    )
    operations.change_unit(scope, unit_id=unit_id, version=1, values={"cooling_max_m3_s": 0.2})
    assert TerminalUnit.objects.get(pk=unit_id).entered == {}


def test_saving_the_same_again_changes_nothing(cast: Cast) -> None:
    scope = cast.scope()
    values = {"tag": "TU-1", "cooling_max_m3_s": typed("400 cfm"), "heat": "electric"}
    unit_id = operations.add_unit(scope, values=values)
    assert operations.change_unit(scope, unit_id=unit_id, version=1, values=values) == 1
    assert len(queries.unit_log(scope, unit_id)) == 1


def test_a_stale_version_is_told_what_changed_and_by_whom(cast: Cast) -> None:
    scope = cast.scope()
    unit_id = operations.add_unit(
        scope, values={"tag": "TU-1", "cooling_max_m3_s": typed("350 cfm")}
    )
    changes = {"cooling_max_m3_s": typed("400 cfm")}
    operations.change_unit(scope, unit_id=unit_id, version=1, values=changes)
    with pytest.raises(Conflict, match="Cooling maximum 350 cfm → 400 cfm"):
        operations.change_unit(scope, unit_id=unit_id, version=1, values={"floor": "3"})
    assert TerminalUnit.objects.get(pk=unit_id).floor == ""


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"tag": ""}, "tag"),
        ({"tag": "tu-2-1"}, "tag"),
        ({"tag": "X", "cooling_max_m3_s": -0.1}, "cooling_max_m3_s"),
        ({"tag": "X", "cooling_max_m3_s": 0.1, "cooling_min_m3_s": 0.2}, "cooling_min_m3_s"),
        ({"tag": "X", "heat": "steam"}, "heat"),
        ({"tag": "X", "colour": "blue"}, "colour"),
        ({"tag": "X", "inlet": 10**9}, "inlet"),
        ({"tag": "X", "zone": 10**9}, "zone"),
    ],
)
def test_what_cannot_be_taken_is_named_and_nothing_is_stored(
    cast: Cast, values: dict[str, object], field: str
) -> None:
    make_unit(cast.project)
    with pytest.raises(InvalidInput) as refused:
        operations.add_unit(cast.scope(), values=values)
    assert field in refused.value.fields
    assert TerminalUnit.objects.count() == 1


def test_a_link_to_another_project_is_refused(cast: Cast) -> None:
    foreign = make_air_handler(cast.other_project, "AH-9")
    with pytest.raises(InvalidInput) as refused:
        operations.add_unit(cast.scope(), values={"tag": "X", "air_handler": foreign.pk})
    assert set(refused.value.fields) == {"air_handler"}


def test_the_tag_of_an_archived_unit_is_explained(cast: Cast) -> None:
    unit = make_unit(cast.project)
    operations.archive_unit(cast.scope(), unit_id=unit.pk, version=1, at=AT)
    with pytest.raises(InvalidInput, match="archived unit has this tag"):
        operations.add_unit(cast.scope(), values={"tag": unit.tag})


@pytest.mark.parametrize("role", ["controls", "balancer", "installer", "owner"])
def test_only_the_office_changes_the_inventory(cast: Cast, role: str) -> None:
    unit = make_unit(cast.project)
    scope = cast.scope(role)
    with pytest.raises(Forbidden):
        operations.add_unit(scope, values={"tag": "X"})
    with pytest.raises(Forbidden):
        operations.archive_units(scope, unit_ids=[unit.pk], at=AT)
    with pytest.raises(Forbidden):
        operations.load_starter_library(scope)


def test_another_projects_unit_does_not_exist_here(cast: Cast) -> None:
    unit = make_unit(cast.other_project)
    with pytest.raises(NotFound):
        operations.change_unit(cast.scope(), unit_id=unit.pk, version=1, values={"floor": "1"})
    with pytest.raises(NotFound):
        queries.unit_row(cast.scope(), unit.pk)
    assert queries.unit_facts(cast.scope(), [unit.pk]) == []


def test_an_archived_unit_leaves_the_list_with_its_outlets_and_comes_back(cast: Cast) -> None:
    scope, unit = cast.scope(), make_whole_unit(cast.project)
    operations.archive_unit(scope, unit_id=unit.pk, version=1, at=AT)
    assert queries.count_units(scope, queries.UnitFilter()) == 0
    assert queries.count_units(scope, queries.UnitFilter(archived=True)) == 1
    assert queries.count_outlets(scope, queries.OutletFilter()) == 0
    assert queries.findings(scope, [unit.pk]) == []
    operations.restore_unit(scope, unit_id=unit.pk)
    assert queries.count_outlets(scope, queries.OutletFilter()) == 2
    changes = [line.what for line in queries.unit_log(scope, unit.pk) if not line.record]
    assert changes == ["restored", "archived", "added"]


def test_an_archived_unit_cannot_be_changed(cast: Cast) -> None:
    scope, unit = cast.scope(), make_unit(cast.project)
    operations.archive_unit(scope, unit_id=unit.pk, version=1, at=AT)
    with pytest.raises(Conflict, match="archived"):
        operations.change_unit(scope, unit_id=unit.pk, version=2, values={"floor": "1"})
    with pytest.raises(Conflict, match="archived"):
        operations.add_outlet(scope, unit_id=unit.pk, values={"tag": "D-1"})


def test_many_units_are_set_at_once_and_those_that_have_it_stay(cast: Cast) -> None:
    scope, handler = cast.scope(), make_air_handler(cast.project)
    chosen = [make_unit(cast.project, f"TU-{i}").pk for i in (1, 2, 3)]
    TerminalUnit.objects.filter(pk=chosen[0]).update(air_handler=handler)
    done = operations.set_on_units(scope, unit_ids=chosen, field="air_handler", value=handler.pk)
    assert done == 2
    assert set(TerminalUnit.objects.values_list("version", flat=True)) == {1, 2}
    cleared = operations.set_on_units(scope, unit_ids=chosen, field="air_handler", value=None)
    assert cleared == 3


def test_a_bulk_act_refuses_foreign_units_and_does_nothing(cast: Cast) -> None:
    ours, foreign = make_unit(cast.project), make_unit(cast.other_project)
    with pytest.raises(InvalidInput, match="not in this project"):
        operations.archive_units(cast.scope(), unit_ids=[ours.pk, foreign.pk], at=AT)
    assert not TerminalUnit.objects.filter(archived_at__isnull=False).exists()


def test_a_bulk_act_needs_a_choice(cast: Cast) -> None:
    with pytest.raises(InvalidInput, match="Choose at least one"):
        operations.archive_units(cast.scope(), unit_ids=[], at=AT)


def test_many_units_are_archived_and_restored(cast: Cast) -> None:
    chosen = [make_unit(cast.project, f"TU-{i}").pk for i in (1, 2)]
    assert operations.archive_units(cast.scope(), unit_ids=chosen, at=AT) == 2
    assert operations.archive_units(cast.scope(), unit_ids=chosen, at=AT) == 0
    assert operations.restore_units(cast.scope(), unit_ids=chosen) == 2


def test_an_outlet_lives_through_its_changes(cast: Cast) -> None:
    scope, unit = cast.scope(), make_unit(cast.project)
    values = {"tag": "D-2", "design_m3_s": typed("350 cfm")}
    outlet_id = operations.add_outlet(scope, unit_id=unit.pk, values=values)
    version = operations.change_outlet(
        scope, outlet_id=outlet_id, version=1, values={"hood_factor": 1.05}
    )
    assert version == 2
    operations.archive_outlet(scope, outlet_id=outlet_id, version=2, at=AT)
    assert queries.unit_facts(scope, [unit.pk])[0].outlets == ()
    operations.restore_outlet(scope, outlet_id=outlet_id)
    (facts,) = queries.unit_facts(scope, [unit.pk])[0].outlets
    assert (facts.tag, facts.hood_factor) == ("D-2", 1.05)
    assert Outlet.objects.get(pk=outlet_id).entered == {"design_m3_s": "350 cfm"}


def test_an_air_handler_in_use_is_not_archived(cast: Cast) -> None:
    scope, handler = cast.scope(), make_air_handler(cast.project)
    unit = make_unit(cast.project, air_handler=handler)
    with pytest.raises(Conflict, match="1 unit hangs"):
        operations.archive_air_handler(scope, air_handler_id=handler.pk, at=AT)
    operations.archive_unit(scope, unit_id=unit.pk, version=None, at=AT)
    operations.archive_air_handler(scope, air_handler_id=handler.pk, at=AT)
    assert queries.air_handler(scope, handler.pk).is_archived


def test_an_air_handler_sums_its_units_in_use(cast: Cast) -> None:
    scope, handler = cast.scope(), make_air_handler(cast.project, design_m3_s=1050 * CFM)
    make_unit(cast.project, "TU-1", air_handler=handler)
    make_unit(cast.project, "TU-2", air_handler=handler)
    make_unit(cast.project, "TU-3", air_handler=handler, cooling_max_m3_s=None)
    make_unit(cast.project, "TU-4", air_handler=handler, archived_at=AT)
    found = queries.air_handler(scope, handler.pk)
    assert (found.units, found.units_with_maximum) == (3, 2)
    assert found.sum_cooling_max_m3_s == pytest.approx(1400 * CFM)
    assert found.diversity == pytest.approx(0.75)


def test_a_zone_in_use_is_not_archived(cast: Cast) -> None:
    zone = make_zone(cast.project)
    make_unit(cast.project, zone=zone)
    with pytest.raises(Conflict, match="serves this zone"):
        operations.archive_zone(cast.scope(), zone_id=zone.pk, at=AT)


def test_an_inlet_in_use_is_not_removed(cast: Cast) -> None:
    inlet = make_inlet()
    make_unit(cast.other_project, inlet=inlet)
    with pytest.raises(Conflict, match="Units have this inlet"):
        operations.remove_inlet(cast.scope(), inlet_id=inlet.pk)


def test_a_change_of_an_inlet_counts_as_a_change_of_its_model(cast: Cast) -> None:
    scope, model = cast.scope(), make_box_model()
    inlet = make_inlet(model)
    changes = {"free_area_m2": 0.04}
    operations.change_inlet(scope, inlet_id=inlet.pk, version=1, values=changes)
    with pytest.raises(Conflict):
        operations.change_inlet(scope, inlet_id=inlet.pk, version=1, values=changes)


def test_a_box_model_of_the_same_name_is_refused_at_the_name(cast: Cast) -> None:
    make_box_model("Single duct")
    with pytest.raises(InvalidInput) as refused:
        operations.add_box_model(cast.scope(), values={"name": "SINGLE DUCT"})
    assert set(refused.value.fields) == {"name"}


def test_the_starter_library_is_added_once(cast: Cast) -> None:
    first = operations.load_starter_library(cast.scope())
    assert first.box_models >= 1
    assert first.inlets >= 8
    assert first.controller_models >= 1
    counts = (BoxModel.objects.count(), BoxInlet.objects.count(), ControllerModel.objects.count())
    again = operations.load_starter_library(cast.scope())
    assert (again.box_models, again.inlets, again.controller_models) == (0, 0, 0)
    assert counts == (
        BoxModel.objects.count(),
        BoxInlet.objects.count(),
        ControllerModel.objects.count(),
    )


def test_the_starter_library_leaves_what_was_corrected(cast: Cast, tmp_path: Path) -> None:
    source = tmp_path / "library.json"
    source.write_text(
        '{"box models": [{"name": "Single duct", "inlets": [{"label": "8 in", "diameter": "8 in",'
        ' "free area": "0.3386 ft2", "nominal K": "916 cfm/sqrt(inH2O)"}]}],'
        ' "controller models": []}'
    )
    inlet = make_inlet(make_box_model(), free_area_m2=0.5)
    added = operations.load_starter_library(cast.scope(), path=source)
    assert added.inlets == 0
    assert BoxInlet.objects.get(pk=inlet.pk).free_area_m2 == 0.5


def test_facts_hold_every_inlet_of_the_box_model(cast: Cast) -> None:
    unit = make_whole_unit(cast.project)
    assert unit.inlet is not None
    make_inlet(unit.inlet.box_model, "6 in", diameter_m=0.1524)
    (facts,) = queries.unit_facts(cast.scope(), [unit.pk])
    assert [inlet.label for inlet in facts.inlets] == ["6 in", "8 in"]
    assert facts.inlet is not None
    assert facts.inlet.label == "8 in"
    assert facts.controller is not None
    assert [outlet.tag for outlet in facts.outlets] == ["D-1", "D-2"]


def test_units_are_listed_in_natural_order_with_unknown_values_last(cast: Cast) -> None:
    for tag, flow in (("TU-10", 0.1), ("TU-2", None), ("tu-1", 0.3)):
        make_unit(cast.project, tag, cooling_max_m3_s=flow, cooling_min_m3_s=None)
    scope = cast.scope()

    def tags(sort: str) -> list[str]:
        return [row["tag"] for row in queries.list_units(scope, queries.UnitFilter(), sort=sort)]

    assert tags("tag") == ["tu-1", "TU-2", "TU-10"]
    assert tags("-tag") == ["TU-10", "TU-2", "tu-1"]
    assert tags("cooling_max_m3_s") == ["TU-10", "tu-1", "TU-2"]
    assert tags("-cooling_max_m3_s") == ["tu-1", "TU-10", "TU-2"]


def test_filters_find_what_they_name(cast: Cast) -> None:
    scope = cast.scope()
    whole = make_whole_unit(cast.project, "TU-3-7", floor="3", location="North stair")
    make_unit(cast.project, "TU-9")

    def found(**wanted: object) -> int:
        return queries.count_units(scope, queries.UnitFilter(**wanted))  # type: ignore[arg-type]  # named by the caller

    assert found(text="stair") == 1
    assert found(text="reading") == 1
    assert found(text="%") == 0
    assert found(air_handler=whole.air_handler_id) == 1
    assert found(floor="3") == 1
    assert found(heat="hot-water") == 1
    assert found(inlet="8 IN") == 1
    assert found(controller_model=whole.controller_model_id) == 1
    assert found(revision=0) == 2
    assert found(ids=(whole.pk,)) == 1


def test_options_name_the_floors_once_and_in_order(cast: Cast) -> None:
    for i, floor in enumerate(("10", "2", "2", "")):
        make_unit(cast.project, f"TU-{i}", floor=floor)
    make_outlet(make_unit(cast.other_project, floor="99"))
    assert queries.options(cast.scope()).floors == ["2", "10"]
