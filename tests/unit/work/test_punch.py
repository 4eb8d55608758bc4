"""Who may do what with a punch item, as a table, and what items find."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from zones.work.domain.punch import Act, ItemFacts, PunchSnapshot, Side, refusal
from zones.work.domain.punch_rules import check

OFFICE, CONTROLS = Side("office", "office"), Side("controls", "controls")
HANGER, ELECTRICIAN = Side("installer", "mechanical"), Side("installer", "electrical")
OWNER, BALANCER = Side("owner"), Side("balancer", "balancer")
EVERYONE = (OFFICE, CONTROLS, HANGER, ELECTRICIAN, OWNER, BALANCER)


@pytest.mark.parametrize(
    ("state", "act", "allowed"),
    [
        # The controls technician opened it and the mechanical trade owes it.
        ("open", "answer", {OFFICE, HANGER}),
        ("answered", "answer", set()),
        ("open", "change", {OFFICE, CONTROLS}),
        ("answered", "change", set()),
        ("open", "verify", {OFFICE, CONTROLS}),
        ("answered", "verify", {OFFICE, CONTROLS}),
        ("verified", "verify", set()),
        ("open", "reopen", set()),
        ("answered", "reopen", {OFFICE, CONTROLS}),
        ("verified", "reopen", {OFFICE, CONTROLS}),
    ],
)
def test_sides_and_acts(state: str, act: Act, allowed: set[Side]) -> None:
    item = ItemFacts(state, "mechanical", CONTROLS)
    assert {side for side in EVERYONE if not refusal(side, item, act)} == allowed


def test_nobody_but_the_office_verifies_what_the_own_trade_owes() -> None:
    own = ItemFacts("answered", "mechanical", HANGER)
    assert "own trade" in refusal(HANGER, own, "verify")
    assert refusal(OFFICE, own, "verify") == ""


def test_the_owner_verifies_what_the_owner_opened() -> None:
    assert refusal(OWNER, ItemFacts("answered", "controls", OWNER), "verify") == ""
    assert refusal(OWNER, ItemFacts("answered", "controls", CONTROLS), "verify") != ""


def snapshot(**overrides: object) -> PunchSnapshot:
    values: dict[str, object] = {
        "id": 1,
        "number": 7,
        "subject": "TU-2-1",
        "unit_id": 3,
        "trade": "mechanical",
        "text": "Damper half shut",
        "severity": "holds",
        "state": "open",
        "opened_at": datetime(2026, 11, 20, tzinfo=UTC),
        "due_date": date(2026, 11, 24),
    }
    return PunchSnapshot(**(values | overrides))  # type: ignore[arg-type]  # fields by name


@pytest.mark.parametrize(
    ("overrides", "codes"),
    [
        ({}, ["work.punch-holds", "work.punch-overdue"]),
        ({"state": "answered"}, ["work.punch-holds"]),
        ({"state": "verified"}, []),
        ({"severity": "mend"}, ["work.punch-overdue"]),
        ({"severity": "note", "due_date": date(2026, 11, 25)}, []),
    ],
)
def test_items_find(overrides: dict[str, object], codes: list[str]) -> None:
    found = list(check([snapshot(**overrides)], today=date(2026, 11, 25)))
    assert [finding.code for finding in found] == codes
    assert all(finding.subject.unit_id == 3 for finding in found)
