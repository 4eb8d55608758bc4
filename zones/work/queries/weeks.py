"""Weeks past: what was promised for each, what was kept, and what could have been done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from projectsite.core import evidence
from projectsite.core.scope import Scope
from zones.work.domain.board import Board, BoardInput, State, compute, options_of
from zones.work.domain.planning import (
    Promise,
    Said,
    WeekFigures,
    begins,
    monday_of,
    state_at,
    weeks_past,
)
from zones.work.domain.types import StepFacts
from zones.work.models import Assignment, StepMark
from zones.work.queries.board import WholeBoard, whole_board
from zones.work.queries.planning import (
    SUBJECT_COLUMNS,
    Task,
    task_of,
    units_of_groups,
    units_of_task,
)


def past_weeks(
    scope: Scope, at: datetime, weeks: int, whole: WholeBoard | None = None
) -> list[WeekFigures]:
    """Figures of the last whole weeks before ``at``, the earliest first.

    What came before what, and which options the units have, is taken as it is today; what was
    said and proven, as it was when the week began. A proof that was withdrawn since counts as
    never given, because the record keeps no time of its end.
    """
    whole = whole or whole_board(scope)
    zone = ZoneInfo(scope.project.time_zone)
    this = monday_of(at.astimezone(zone).date())
    mondays = [this - timedelta(days=7 * i) for i in range(weeks, 0, -1)]
    given = _promises(scope, mondays)
    if not given:
        return weeks_past((), {}, zone=zone, mondays=mondays, is_ready=lambda _task, _day: False)
    wanted = _with_earlier(whole.board, given)
    past = _Past(whole, zone, wanted, _history(scope, wanted))
    return weeks_past(
        given, past.said_of(given), zone=zone, mondays=mondays, is_ready=past.is_ready
    )


def _promises(scope: Scope, mondays: Sequence[date]) -> list[Promise]:
    rows = Assignment.objects.filter(
        project_id=scope.project.id,
        due_date__gte=mondays[0],
        due_date__lt=mondays[-1] + timedelta(days=7),
    ).order_by("made_at", "id")
    return [
        Promise(task_of(row), row.due_date, row.made_at, row.ended_at)
        for row in rows.values_list(
            "step_id", *SUBJECT_COLUMNS, "due_date", "made_at", "ended_at", named=True
        )
        if row.due_date is not None
    ]


def _with_earlier(board: Board, given: Iterable[Promise]) -> set[int]:
    """Promised steps and all that have to come before them."""
    steps = {step.id: step for step in board.steps}
    wanted: set[int] = set()
    todo = [promise.task[0] for promise in given if isinstance(promise.task, tuple)]
    while todo:
        step_id = todo.pop()
        if step_id not in wanted:
            wanted.add(step_id)
            todo += steps[step_id].before if step_id in steps else ()
    return wanted


def _history(scope: Scope, wanted: set[int]) -> dict[Task, list[Said]]:
    """What was said of these steps, in the order of time."""
    events = StepMark.pgh_event_model.objects  # type: ignore[attr-defined]  # made by the tracker
    rows = events.filter(~Q(pgh_label="delete"), project_id=scope.project.id, step_id__in=wanted)
    found: dict[Task, list[Said]] = {}
    for row in rows.order_by("at", "pgh_id").values_list(
        "step_id", *SUBJECT_COLUMNS, "state", "at", named=True
    ):
        found.setdefault(task_of(row), []).append(Said(row.at, row.state))
    return found


class _Past:
    """How the steps of a project stood when a week began."""

    def __init__(
        self,
        whole: WholeBoard,
        zone: ZoneInfo,
        wanted: set[int],
        history: Mapping[Task, Sequence[Said]],
    ) -> None:
        self._whole = whole
        self._zone = zone
        self._wanted = wanted
        self._history = history
        self._units_of = units_of_groups(whole.board)
        self._steps: Mapping[int, StepFacts] = {step.id: step for step in whole.board.steps}
        self._boards: dict[date, Board] = {}

    def said_of(self, given: Iterable[Promise]) -> dict[object, Sequence[Said]]:
        """History of each promised task: the record's proofs where it decides, else the marks."""
        found: dict[object, Sequence[Said]] = {}
        for promise in given:
            task: Task = promise.task  # type: ignore[assignment]  # made by ``task_of``
            found[task] = self._said(task)
        return found

    def _said(self, task: Task) -> Sequence[Said]:
        said = list(self._history.get(task, ()))
        step = self._steps.get(task[0])
        if step is None:
            return said
        if step.key in evidence.decided_steps():
            said = [entry for entry in said if entry.state != "done"]
        proven = self._proven_at(step, task)
        if proven is not None:
            said = [entry for entry in said if entry.at < proven]
            said.append(Said(proven, "done"))
        return said

    def _proven_at(self, step: StepFacts, task: Task) -> datetime | None:
        """When the record had proved the step of all units that it counts for."""
        of_unit = self._whole.proofs.get(step.key, {})
        moments = []
        for unit_id in units_of_task(self._whole.board, task, self._units_of):
            proof = of_unit.get(unit_id)
            if proof is None or not proof.holds or proof.at is None:
                return None
            moments.append(proof.at)
        return max(moments, default=None)

    def is_ready(self, task: object, monday: date) -> bool:
        """Tell whether nothing held up a task when the week began, or it was done by then."""
        at: Task = task  # type: ignore[assignment]  # made by ``task_of``
        unit_ids = units_of_task(self._whole.board, at, self._units_of)
        if not unit_ids:
            return False
        if monday not in self._boards:
            self._boards[monday] = self._board(begins(monday, self._zone))
        board = self._boards[monday]
        return all(_is_free(board, unit_id, at[0]) for unit_id in unit_ids)

    def _board(self, moment: datetime) -> Board:
        unit_marks: dict[int, dict[str, list[int]]] = {}
        group_marks: dict[int, dict[str, list[int]]] = {}
        for (step_id, kind, subject_id), said in self._history.items():
            state = state_at(said, moment)
            if state != "open":
                marks = unit_marks if kind == "unit" else group_marks
                marks.setdefault(step_id, {}).setdefault(state, []).append(subject_id)
        return compute(
            BoardInput(
                steps=[step for step in self._whole.board.steps if step.id in self._wanted],
                units=[options_of(u) for u in self._whole.outlines],
                unit_marks=unit_marks,
                group_marks=group_marks,
                proofs={
                    key: {
                        unit_id: True
                        for unit_id, proof in of_unit.items()
                        if proof.holds and proof.at is not None and proof.at < moment
                    }
                    for key, of_unit in self._whole.proofs.items()
                },
                decided=evidence.decided_steps(),
                group_of=self._whole.board.group_of,
            )
        )


def _is_free(board: Board, unit_id: int, step_id: int) -> bool:
    state = board.state(unit_id, step_id)
    if state in {State.DONE, State.NOT_APPLICABLE}:
        return True
    is_clear = bool(board.is_clear[board.row_of[unit_id], board.column_of[step_id]])
    return is_clear and state is not State.HELD
