"""Who may do what: the table of grants against the sentences of the trade, and its one door."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from projectsite.accounts.access import GRANTS, Action
from projectsite.accounts.domain.types import ROLE_WORDS, STATUS_WORDS
from projectsite.accounts.models import ProjectStatus, RoleChoice
from projectsite.ui.context import ROLE_WORDS as FRAME_WORDS

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("projectsite", "zones", "balancing", "network", "reports")

TABLE = """
                       office  controls  balancer  installer  owner
see                    yes     yes       yes       yes        yes
import-schedule        yes     -         -         -          -
edit-inventory         yes     -         -         -          -
edit-library           yes     -         -         -          -
edit-project           yes     -         -         -          -
manage-people          yes     -         -         -          -
enter-readings         yes     -         yes       -          -
edit-instruments       yes     -         yes       -          -
accept-test            yes     -         -         -          -
see-tests              yes     yes       yes       -          yes
draft-document         yes     yes       -         -          -
draft-test-sheet       yes     yes       yes       -          -
issue-document         yes     -         -         -          -
download-issued        yes     yes       yes       -          yes
mark-steps             yes     yes       yes       yes        -
plan-work              yes     -         -         -          -
check-out              yes     yes       -         -          -
open-punch             yes     yes       yes       yes        yes
answer-punch           yes     yes       yes       yes        -
verify-punch           yes     yes       yes       yes        yes
add-file               yes     yes       yes       yes        yes
place-units            yes     yes       -         -          -
"""


def rows() -> dict[str, dict[str, bool]]:
    head, *lines = TABLE.strip().splitlines()
    return {
        line.split()[0]: dict(
            zip(head.split(), [word == "yes" for word in line.split()[1:]], strict=True)
        )
        for line in lines
    }


def test_every_action_stands_in_the_table() -> None:
    assert set(rows()) == {action.value for action in Action}


@pytest.mark.parametrize("role", RoleChoice.values)
def test_a_role_may_do_what_the_table_says(role: str) -> None:
    granted = {action for action, roles in rows().items() if roles[role]}
    assert {action.value for action in GRANTS[role]} == granted


def test_words_of_roles_and_states_are_the_same_everywhere() -> None:
    assert dict(RoleChoice.choices) == ROLE_WORDS == FRAME_WORDS
    assert dict(ProjectStatus.choices) == STATUS_WORDS


def calls_of(name: str) -> set[str]:
    """Modules that call something of this name."""
    found = set()
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call):
                    called = node.func
                    word = getattr(called, "id", getattr(called, "attr", ""))
                    if word == name:
                        found.add(path.relative_to(ROOT).as_posix())
    return found


def test_only_access_builds_a_scope() -> None:
    assert calls_of("Scope") == {"projectsite/accounts/access.py"}


def test_only_access_and_the_sample_build_a_person() -> None:
    # The sample acts for people whom it has just let in by their own links.
    allowed = {"projectsite/accounts/access.py", "projectsite/sample/people.py"}
    assert calls_of("Person") <= allowed
