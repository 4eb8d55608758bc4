"""Floor plans: what the database refuses, what the operations do, and two people at once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.db.models.fields.files import FieldFile
from django.db.utils import IntegrityError

from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.units import Entered
from tests.builders import Cast, make_cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_unit, make_whole_unit
from tests.builders.work import make_catalogue, mark
from tests.builders.work_plans import make_plan, pdf_plan, png_plan
from tests.recorded_queries import Recorder
from zones.inventory.models import TerminalUnit
from zones.inventory.operations.placing import place_units
from zones.work.models import FloorPlan, PunchItem
from zones.work.operations import plans as operations
from zones.work.queries import places, plans

SET = "update work_floorplan set"
BROKEN = [
    (f"{SET} floor = ''", "floorplan_floor_given"),
    (f"{SET} width_px = 0", "floorplan_has_size"),
    (f"{SET} distance_m = null", "floorplan_scale_whole"),
    (f"{SET} distance_m = 0", "floorplan_scale_whole"),
    (f"{SET} second_x_px = first_x_px", "floorplan_scale_whole"),
    (f"{SET} origin_x_px = null", "floorplan_origin_whole"),
    (f"{SET} archived_at = null", "floorplan_one_current"),
]


@pytest.mark.parametrize(("statement", "constraint"), BROKEN, ids=[s for s, _ in BROKEN])
def test_the_database_refuses(cast: Cast, statement: str, constraint: str) -> None:
    make_plan(cast.project, cast.office)
    make_plan(cast.project, cast.office, archived_at=AT)
    with pytest.raises(IntegrityError, match=constraint), connection.cursor() as cursor:
        cursor.execute(statement)


def add(cast: Cast, **overrides: Any) -> FloorPlan:
    """Add a plan of floor 2 as the office."""
    values: dict[str, Any] = {
        "floor": "2",
        "name": "M-102",
        "content": png_plan(),
        "file_name": "m-102.png",
        "at": AT,
    }
    plan_id = operations.add_plan(cast.scope(), **(values | overrides))
    return FloorPlan.objects.get(pk=plan_id)


def stored(file: FieldFile) -> bytes:
    """What the storage holds under the name of this file."""
    with default_storage.open(str(file.name), "rb") as opened:
        return bytes(opened.read())


@pytest.mark.parametrize(
    ("content", "page"), [(png_plan(), 1), (pdf_plan(), 2)], ids=["picture", "page of a PDF"]
)
def test_a_plan_is_kept_as_received_and_as_a_picture(cast: Cast, content: bytes, page: int) -> None:
    plan = add(cast, content=content, page_number=page)
    assert stored(plan.file) == content
    assert stored(plan.image)[:4] == b"\x89PNG"
    assert plan.sha256 == hashlib.sha256(content).hexdigest()
    assert plan.width_px == pytest.approx(2 * plan.height_px, rel=0.02)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"floor": " "}, "floor"),
        ({"name": "x" * 101}, "name"),
        ({"content": b"no picture at all"}, "file"),
        ({"content": b"%PDF-1.4 broken"}, "file"),
        ({"keep_scale": True}, "keep_scale"),
    ],
)
def test_what_is_no_plan_is_refused_whole(cast: Cast, given: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        add(cast, **given)
    assert field in refused.value.fields
    assert not FloorPlan.objects.exists()


def test_a_file_that_is_too_large_is_not_even_read(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(operations, "MAX_PLAN_BYTES", 10)
    with pytest.raises(InvalidInput, match="At most"):
        add(cast)


def test_a_newer_plan_takes_the_place_and_can_keep_the_scale(cast: Cast) -> None:
    before = make_plan(cast.project, cast.office)
    plan = add(cast, content=png_plan(400, 200), keep_scale=True)
    before.refresh_from_db()
    assert before.archived_at == AT
    # Twice as many pixels: each is half as wide, and the origin lies twice as far.
    facts = plans.plan_facts(cast.scope(), plan.pk)
    assert facts.m_per_px == pytest.approx(0.05)
    assert facts.origin_px == (0.0, 200.0)
    assert facts.entered == {"distance_m": "10 m"}
    with pytest.raises(InvalidInput, match="another shape"):
        add(cast, content=png_plan(200, 200), keep_scale=True)
    with pytest.raises(Conflict, match="another plan in use"):
        operations.restore_plan(cast.scope(), plan_id=before.pk)
    operations.archive_plan(cast.scope(), plan_id=plan.pk, at=AT)
    operations.restore_plan(cast.scope(), plan_id=before.pk)
    assert [found.id for found in plans.list_plans(cast.scope())] == [before.pk]


def scale(cast: Cast, plan: FloorPlan, **overrides: Any) -> int:
    """Set a scale of 10 m along 100 pixels."""
    values: dict[str, Any] = {
        "version": plan.version,
        "first_px": (0.0, 0.0),
        "second_px": (100.0, 0.0),
        "distance": Entered(10.0, "10 m"),
    }
    return operations.set_scale(cast.scope(), plan_id=plan.pk, **(values | overrides))


def test_scale_and_origin_are_set_by_version(cast: Cast) -> None:
    plan = add(cast)
    assert plans.plan_facts(cast.scope(), plan.pk).scale is None
    version = scale(cast, plan)
    with pytest.raises(Conflict):
        scale(cast, plan)
    operations.set_origin(cast.scope(), plan_id=plan.pk, version=version, origin_px=(0.0, 100.0))
    found = plans.plan_facts(cast.scope(), plan.pk).scale
    assert found is not None
    assert found.to_m((20.0, 90.0)) == pytest.approx((2.0, 1.0))
    with pytest.raises(NotFound):
        plans.plan_facts(cast.stranger_scope(), plan.pk)
    operations.archive_plan(cast.scope(), plan_id=plan.pk, at=AT)
    plan.refresh_from_db()
    with pytest.raises(Conflict, match="archived"):
        scale(cast, plan)


@pytest.mark.parametrize(
    "given",
    [
        {"second_px": (0.0, 0.0)},
        {"second_px": (201.0, 0.0)},
        {"distance": Entered(0.0, "0")},
        {"distance": Entered(20_000.0, "20 km")},
    ],
)
def test_a_scale_that_can_not_be_is_refused(cast: Cast, given: dict[str, Any]) -> None:
    with pytest.raises(InvalidInput):
        scale(cast, make_plan(cast.project, cast.office), **given)


def test_half_a_change_of_scale_and_origin_leaves_nothing(cast: Cast) -> None:
    plan = make_plan(cast.project, cast.office)
    with pytest.raises(InvalidInput, match="far"):
        operations.fit_plan(
            cast.scope(),
            plan_id=plan.pk,
            version=1,
            scale=((0.0, 0.0), (100.0, 0.0), Entered(50.0, "50 m")),
            origin_px=(1e6, 0.0),
        )
    plan.refresh_from_db()
    assert (plan.distance_m, plan.version) == (10.0, 1)


# --- placing -----------------------------------------------------------------------------------


def test_units_are_placed_together_or_not_at_all(cast: Cast) -> None:
    first, second = make_unit(cast.project, "TU-1"), make_unit(cast.project, "TU-2")
    scope = cast.scope("controls")
    done = place_units(
        scope,
        places={first.pk: (1.0, 2.0), second.pk: (Entered(3.048, "10 ft"), Entered(2.0, "2 m"))},
        versions={first.pk: 1},
    )
    assert done == {first.pk: 2, second.pk: 2}
    second.refresh_from_db()
    assert second.entered == {"position_x_m": "10 ft", "position_y_m": "2 m"}
    # The same place again is no change; what was typed stays.
    assert place_units(scope, places={second.pk: (3.048, 2.0)}) == {second.pk: 2}
    with pytest.raises(Conflict, match="TU-1 was changed"):
        place_units(
            scope, places={first.pk: (5.0, 5.0), second.pk: (5.0, 5.0)}, versions={first.pk: 1}
        )
    assert places.positions(scope, "2") == {first.pk: (1.0, 2.0), second.pk: (3.048, 2.0)}
    place_units(scope, places={second.pk: None})
    second.refresh_from_db()
    assert (second.position_x_m, second.entered) == (None, {})
    with connection.cursor() as cursor:
        cursor.execute(
            "select count(*) from inventory_terminalunitevent where pgh_obj_id = %s", [second.pk]
        )
        assert cursor.fetchone() == (3,)  # added, placed, taken off


def test_what_can_not_be_placed_is_refused(cast: Cast) -> None:
    unit = make_unit(cast.project)
    scope = cast.scope()
    for place in ((1e5, 0.0), (float("nan"), 0.0)):
        with pytest.raises(InvalidInput, match="TU-2-1"):
            place_units(scope, places={unit.pk: place})
    with pytest.raises(InvalidInput, match="not in this project"):
        place_units(cast.stranger_scope(), places={unit.pk: (1.0, 1.0)})
    with pytest.raises(InvalidInput, match="at least one"):
        place_units(scope, places={})
    with pytest.raises(Forbidden):
        place_units(cast.scope("installer"), places={unit.pk: (1.0, 1.0)})
    TerminalUnit.objects.update(archived_at=AT)
    with pytest.raises(Conflict, match="archived"):
        place_units(scope, places={unit.pk: (1.0, 1.0)})


def test_one_walks_floor_by_floor_and_the_unplaced_last(cast: Cast) -> None:
    spots = [("10", 0.0), ("2", 30.0), ("2", 10.0), ("2", None), ("", 1.0), ("2", 20.0)]
    units = [
        make_unit(cast.project, f"TU-{i}", floor=floor, position_x_m=x, position_y_m=x)
        for i, (floor, x) in enumerate(spots)
    ]
    order = places.walking(cast.scope(), [unit.pk for unit in units])
    assert [units.index(next(u for u in units if u.pk == i)) for i in order] == [2, 5, 1, 3, 0, 4]
    assert places.walking(cast.scope(), [units[1].pk]) == [units[1].pk]


# --- what a plan shows --------------------------------------------------------------------------


def test_a_plan_shows_each_view_in_a_fixed_number_of_queries(
    cast: Cast, recorded_queries: Recorder
) -> None:
    plan = make_plan(cast.project, cast.office)
    steps = make_catalogue(cast.project)
    unit = make_whole_unit(cast.project, position_x_m=2.0, position_y_m=1.0)
    far = make_whole_unit(cast.project, "TU-2-2", position_x_m=99.0, position_y_m=1.0)
    make_unit(cast.project, "TU-2-3")
    make_unit(cast.project, "TU-3-1", floor="3")
    mark(unit, steps["box-hung"], cast.installer)
    PunchItem.objects.create(
        project=cast.project,
        unit=unit,
        number=1,
        trade="mechanical",
        text="Hanger loose",
        severity="holds",
        opener_role="office",
        opened_by=cast.office,
        opened_at=AT,
        client_key="0b7a4c1e-5c3b-4d0e-9a55-8f2a6f0e1c11",
    )
    scope = cast.scope()
    shown = {}
    for view in ("progress", "findings", "punch", "step-box-hung"):
        with recorded_queries(f"work plan, {view.split('-', maxsplit=1)[0]}"):
            shown[view] = plans.plan_sheet(scope, plan.pk, view)
    points = {point.tag: point for point in shown["step-box-hung"].points}
    assert list(points) == ["TU-2-1", "TU-2-2", "TU-2-3"]
    assert (points["TU-2-1"].x_px, points["TU-2-1"].y_px) == pytest.approx((20.0, 90.0))
    assert (points["TU-2-1"].state, points["TU-2-1"].word) == ("done", "done")
    assert points["TU-2-2"].is_outside
    assert points["TU-2-3"].place_m is None
    assert shown["step-box-hung"].legend == (("wait", "ready", 2), ("done", "done", 1))
    assert shown["step-box-hung"].walk == (unit.pk, far.pk)
    assert shown["punch"].points[0].word == "holds turnover"
    assert shown["punch"].points[1].word == "nothing owed"
    assert shown["findings"].points[0].state == "hold"  # no flow test yet
    assert shown["progress"].points[0].word.startswith("1 of ")
    with recorded_queries("work floors"):
        rows = plans.floors(scope)
    assert [(row.floor, row.units, row.placed, row.standing.word) for row in rows] == [
        ("2", 3, 2, "units to place"),
        ("3", 1, 0, "no plan"),
    ]


# --- two at once --------------------------------------------------------------------------------


def both(act: Callable[[], object]) -> list[object]:
    """Do this twice at once; a conflict is an answer."""
    barrier = Barrier(2)

    def run(_: int) -> object:
        try:
            barrier.wait(timeout=10)
            return act()
        except Conflict as conflict:
            return conflict
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(run, range(2)))


def test_a_plan_that_came_in_between_is_not_overwritten(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = make_plan(cast.project, cast.office)
    # The other's plan was stored after this one looked.
    monkeypatch.setattr(operations, "_in_use", lambda *_: None)
    with pytest.raises(Conflict, match="at the same moment"):
        add(cast)
    assert [plan.pk for plan in FloorPlan.objects.all()] == [other.pk]


@pytest.mark.django_db(transaction=True)
def test_two_at_once_leave_one_plan_and_one_position() -> None:
    cast = make_cast()
    answers = both(lambda: add(cast).pk)
    stored = [answer for answer in answers if isinstance(answer, int)]
    # Who comes second either takes the place of the first or is told of it.
    assert sorted(FloorPlan.objects.values_list("pk", flat=True)) == sorted(stored)
    assert FloorPlan.objects.filter(archived_at=None).count() == 1
    unit, scope = make_unit(cast.project), cast.scope()
    answers = both(lambda: place_units(scope, places={unit.pk: (1.0, 1.0)}, versions={unit.pk: 1}))
    assert sum(isinstance(answer, Conflict) for answer in answers) == 1
    assert TerminalUnit.objects.get().version == 2
