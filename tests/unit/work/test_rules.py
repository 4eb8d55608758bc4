"""Findings of the work: what each says, and when it says nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from projectsite.core.findings import Finding, Severity
from zones.work.domain.rules import RULES, StepStanding, check

NOW = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)


def found(*, untouched_days: float = 14.0, **values: Any) -> list[Finding]:
    standing = StepStanding(7, "TU-1", "Box hung", **{"state": "ready", **values})
    return list(
        check(
            [standing],
            lambda at: at.date().isoformat(),
            now=NOW,
            untouched_days=untouched_days,
        )
    )


def test_a_step_that_is_all_right_yields_nothing() -> None:
    for state in ("ready", "waiting", "done", "in-hand", "not-applicable"):
        assert found(state=state) == []


def test_done_before_its_turn() -> None:
    (told,) = found(state="done", is_early=True, waits_for=("Duct connected", "Box level"))
    assert told.code == "work.done-before-predecessor"
    assert told.message == (
        "“Box hung” is done, though this has to come before and is open: “Duct connected”, "
        "“Box level”."
    )
    assert (told.subject.unit_id, told.subject.label) == (7, "TU-1")


@pytest.mark.parametrize(
    ("state", "days", "limit", "is_told"),
    [
        ("ready", 14.0, 14.0, False),
        ("ready", 14.001, 14.0, True),
        ("ready", 3.5, 3.0, True),
        ("in-hand", 40.0, 14.0, False),
        ("waiting", 40.0, 14.0, False),
    ],
)
def test_left_lying(state: str, days: float, limit: float, is_told: bool) -> None:
    since = NOW - timedelta(days=days)
    told = found(state=state, ready_since=since, untouched_days=limit)
    assert [f.code for f in told] == ["work.ready-untouched"] * is_told
    if is_told:
        assert f"ready for {int(days)} days, since {since.date()}" in told[0].message
        assert told[0].values == {"waited_d": pytest.approx(days)}


@pytest.mark.parametrize(
    ("note", "codes"),
    [
        ("waits for steel", ["work.held"]),
        ("nix", ["work.held"]),
        ("?", ["work.held", "work.held-without-reason"]),
        ("12 — a.", ["work.held", "work.held-without-reason"]),
    ],
)
def test_held(note: str, codes: list[str]) -> None:
    told = found(state="held", note=note, by="Ines Calder", said_at=NOW, of="AH-1")
    assert [f.code for f in told] == codes
    start = "“Box hung” of AH-1 is held by Ines Calder on 2026-11-25: "
    assert told[0].message.startswith(start + note.rstrip("."))


def test_proof_withdrawn() -> None:
    (told,) = found(withdrawn="The schedule changed after flow test 4.")
    assert told.code == "work.proof-withdrawn"
    assert told.message.endswith("no longer is: The schedule changed after flow test 4.")
    assert told.severity is Severity.DISAGREES


def test_every_rule_can_be_told() -> None:
    codes = {
        f.code
        for values in (
            {"state": "done", "is_early": True, "waits_for": ("x",)},
            {"ready_since": NOW - timedelta(days=15)},
            {"state": "held", "note": "-"},
            {"withdrawn": "x"},
        )
        for f in found(**values)
    }
    assert codes == {rule.code for rule in RULES}
