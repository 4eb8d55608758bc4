"""What the database refuses of steps, marks, promises and planned periods, tried with SQL."""

from __future__ import annotations

from datetime import date

import pgtrigger
import pytest
from django.db import connection, transaction
from django.db.utils import IntegrityError

from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work import make_step, mark
from zones.work.models import Assignment, PlannedPeriod, Step, StepBefore, StepMark

TABLES = {
    "work_step": Step,
    "work_stepbefore": StepBefore,
    "work_stepmark": StepMark,
    "work_assignment": Assignment,
    "work_plannedperiod": PlannedPeriod,
}


def copy_of(table: str, **changes: str) -> str:
    """Statement that stores a second row like the first, with these values changed."""
    names = [
        column.attname for column in TABLES[table]._meta.concrete_fields if column.attname != "id"
    ]
    values = [changes.get(name, name) for name in names]
    return (
        f"insert into {table} ({', '.join(names)}) "
        f"select {', '.join(values)} from {table} order by id limit 1"
    )


def of_group(table: str, column: str) -> list[str]:
    """Statements that store the same for one air handler, trunk or transformer twice."""
    value = "(select min(id) from inventory_airhandler)" if column == "air_handler_id" else "7"
    return [copy_of(table, unit_id="null", **{column: value})] * 2


MARK, PROMISE = "update work_stepmark set", "update work_assignment set"
PERIOD, STEP = "update work_plannedperiod set", "update work_step set"
NEW_STEP = {"key": "'other'", "name": "'Other'"}
GROUP_COLUMNS = ("air_handler_id", "trunk_id", "transformer_id")

BROKEN: list[tuple[list[str], str]] = [
    ([copy_of("work_step", name="'Other'")], "step_key_unique"),
    ([copy_of("work_step", key="'other'", name="upper(name)")], "step_name_unique"),
    ([f"{STEP} name = '' where key = 'box-hung'"], "step_name_given"),
    ([f"{STEP} trade = 'roofing'"], "step_trade_known"),
    ([f"{STEP} per = 'floor'"], "step_per_known"),
    ([f"{STEP} budget_h = -1"], "step_budget_range"),
    ([f"{STEP} budget_h = 1001"], "step_budget_range"),
    ([f"{STEP} heats = '{{steam}}'"], "step_options_known"),
    ([f"{STEP} fans = '{{axial}}'"], "step_options_known"),
    ([f"{STEP} needs = '{{window}}'"], "step_options_known"),
    ([copy_of("work_stepbefore")], "stepbefore_unique"),
    (
        [copy_of("work_stepbefore", step_id="before_id", before_id="step_id")],
        "would wait for itself",
    ),
    ([f"{MARK} unit_id = null"], "stepmark_one_subject"),
    ([f"{MARK} trunk_id = 7"], "stepmark_one_subject"),
    ([copy_of("work_stepmark")], "stepmark_unit_unique"),
    *((of_group("work_stepmark", c), f"stepmark_{c.removesuffix('_id')}") for c in GROUP_COLUMNS),
    ([f"{MARK} state = 'half'"], "stepmark_state_known"),
    ([f"{MARK} state = 'held', note = ''"], "stepmark_reason_given"),
    ([f"{PROMISE} unit_id = null"], "assignment_one_subject"),
    ([copy_of("work_assignment")], "assignment_unit_one_current"),
    *(
        (of_group("work_assignment", c), f"assignment_{c.removesuffix('_id')}")
        for c in GROUP_COLUMNS
    ),
    ([f"{PROMISE} person_id = null, due_date = null"], "assignment_says_something"),
    ([f"{PROMISE} ended_at = made_at - interval '1 day'"], "assignment_ends_later"),
    ([copy_of("work_plannedperiod")], "plannedperiod_unique"),
    ([f"{PERIOD} trade = 'roofing'"], "plannedperiod_trade_known"),
    ([f"{PERIOD} finish_date = start_date - 1"], "plannedperiod_in_order"),
]


@pytest.fixture
def stored(cast: Cast) -> Cast:
    """One row of each table."""
    make_air_handler(cast.project)
    unit = make_unit(cast.project)
    hung = make_step(cast.project)
    make_step(cast.project, "duct-connected", before=[hung])
    mark(unit, hung, cast.office)
    values = {"project": cast.project, "step": hung, "made_by": cast.office, "made_at": AT}
    Assignment.objects.create(unit=unit, due_date=date(2026, 12, 1), **values)
    period = {"start_date": date(2026, 12, 1), "finish_date": date(2026, 12, 18)}
    PlannedPeriod.objects.create(project=cast.project, floor="2", trade="controls", **period)
    return cast


@pytest.mark.parametrize(("statements", "refusal"), BROKEN)
def test_the_database_refuses(stored: Cast, statements: list[str], refusal: str) -> None:
    with connection.cursor() as cursor:
        for statement in statements[:-1]:
            cursor.execute(statement)
        with pytest.raises(IntegrityError, match=refusal):
            cursor.execute(statements[-1])


def test_a_step_is_not_before_itself_even_without_the_trigger(stored: Cast) -> None:
    with (
        pgtrigger.ignore("work.StepBefore:stepbefore_no_circle"),
        pytest.raises(IntegrityError, match="stepbefore_not_itself"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(copy_of("work_stepbefore", step_id="before_id"))


@pytest.mark.parametrize(
    ("table", "column", "parent"),
    [
        ("work_stepbefore", "step_id", "work_step"),
        ("work_stepbefore", "before_id", "work_step"),
        ("work_stepmark", "step_id", "work_step"),
        ("work_stepmark", "unit_id", "inventory_terminalunit"),
        ("work_stepmark", "air_handler_id", "inventory_airhandler"),
        ("work_assignment", "step_id", "work_step"),
        ("work_assignment", "unit_id", "inventory_terminalunit"),
        ("work_assignment", "air_handler_id", "inventory_airhandler"),
    ],
)
def test_parent_and_child_stay_in_one_project(
    stored: Cast, table: str, column: str, parent: str
) -> None:
    make_unit(stored.other_project)
    make_air_handler(stored.other_project)
    make_step(stored.other_project, "elsewhere")
    foreign = f"(select id from {parent} where project_id = {stored.other_project.pk} limit 1)"
    alone = ", unit_id = null" if column == "air_handler_id" else ""
    name = f"{table.removeprefix('work_')}_{column.removesuffix('_id')}_same_project"
    with connection.cursor() as cursor:
        cursor.execute(f"update {table} set {column} = {foreign}{alone}")
        with pytest.raises(IntegrityError, match=name):
            cursor.execute("set constraints all immediate")
