"""How the steps of a project stand: what was said and what the record proves."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.db import connection

from projectsite.core import evidence, groups
from projectsite.core.evidence import Proof
from projectsite.core.groups import Grouping
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.inventory.domain.types import UnitOutline
from zones.work.domain.board import Board, BoardInput, compute, options_of
from zones.work.domain.types import StepFacts
from zones.work.queries.steps import steps_of

# Ids come as arrays, a row for each step and mark: a large project has fifty thousand marks.
_MARKS = """
SELECT m.step_id, s.per, m.state,
    array_agg(m.unit_id) FILTER (WHERE m.unit_id IS NOT NULL),
    array_agg(coalesce(m.air_handler_id, m.trunk_id, m.transformer_id))
        FILTER (WHERE m.unit_id IS NULL)
FROM work_stepmark m JOIN work_step s ON s.id = m.step_id
WHERE m.project_id = %(project)s AND m.state <> 'open'
    AND (m.unit_id IS NULL OR %(units)s::bigint[] IS NULL OR m.unit_id = ANY(%(units)s))
GROUP BY 1, 2, 3
"""
_GROUPED = ("air-handler", "trunk", "transformer")


@dataclass(frozen=True, slots=True)
class WholeBoard:
    """The board of a project with what a page shows beside it.

    Attributes
    ----------
    outlines
        Units in use, in the order of their tags and of the board's rows.
    groupings
        Air handlers, trunks and transformers, by kind.
    proofs
        What the record says of a step, by key and unit id.
    """

    board: Board
    outlines: tuple[UnitOutline, ...]
    groupings: Mapping[str, Grouping]
    proofs: Mapping[str, Mapping[int, Proof]]

    @property
    def outline_of(self) -> Mapping[int, UnitOutline]:
        """Units by id."""
        return {unit.id: unit for unit in self.outlines}


def whole_board(
    scope: Scope,
    *,
    steps: Sequence[StepFacts] | None = None,
    unit_ids: Collection[int] | None = None,
) -> WholeBoard:
    """Compute how every step of every unit in use stands, in a fixed number of queries.

    Parameters
    ----------
    steps
        The catalogue, when the caller has read it.
    unit_ids
        Compute these units only, with those that a shared step of theirs waits for; everything
        that is said of these units is as on the board of all.
    """
    steps = steps_of(scope) if steps is None else steps
    outlines = inventory.outlines(scope)
    groupings = {kind: groups.grouping(scope, kind) for kind in _GROUPED}
    if unit_ids is not None:
        wanted = _with_company(unit_ids, steps, groupings)
        outlines = [unit for unit in outlines if unit.id in wanted]
    ids = [unit.id for unit in outlines]
    proofs: dict[str, dict[int, Proof]] = {}
    for proof in evidence.collect(scope, ids):
        proofs.setdefault(proof.step, {})[proof.unit_id] = proof
    unit_marks, group_marks = _marks(scope, None if unit_ids is None else ids)
    board = compute(
        BoardInput(
            steps=steps,
            units=[options_of(u) for u in outlines],
            unit_marks=unit_marks,
            group_marks=group_marks,
            proofs={
                key: {unit_id: proof.holds for unit_id, proof in of_unit.items()}
                for key, of_unit in proofs.items()
            },
            decided=evidence.decided_steps(),
            group_of={kind: grouping.of_unit for kind, grouping in groupings.items()},
        )
    )
    return WholeBoard(board, tuple(outlines), groupings, proofs)


Said = dict[int, dict[str, list[int]]]


def _with_company(
    unit_ids: Collection[int], steps: Sequence[StepFacts], groupings: Mapping[str, Grouping]
) -> set[int]:
    """Units, and those that share a group whose step waits for all of them, and so on."""
    found, fresh = set(unit_ids), set(unit_ids)
    kinds = {step.per for step in steps if step.before} & set(groupings)
    while fresh:
        met: set[int] = set()
        for kind in kinds:
            of_unit = groupings[kind].of_unit
            shared = {of_unit[unit_id] for unit_id in fresh if unit_id in of_unit}
            met |= {unit_id for unit_id, group in of_unit.items() if group in shared}
        fresh = met - found
        found |= fresh
    return found


def _marks(scope: Scope, unit_ids: list[int] | None) -> tuple[Said, Said]:
    """What was said, by step and mark: ids of units, and ids of groups of the step's kind."""
    of_units: Said = {}
    of_groups: Said = {}
    with connection.cursor() as cursor:
        cursor.execute(_MARKS, {"project": scope.project.id, "units": unit_ids})
        for step_id, _per, state, units, group_ids in cursor.fetchall():
            of_units.setdefault(step_id, {})[state] = units or []
            of_groups.setdefault(step_id, {})[state] = group_ids or []
    return of_units, of_groups
