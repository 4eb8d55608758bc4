"""The developers' guide and the README say what the code says."""

from __future__ import annotations

import io
import os
import re
import shlex
from pathlib import Path

from django.core.management import call_command

from projectsite.accounts.access import GRANTS, Action
from projectsite.core import findings

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(r"(<!-- findings:begin -->\n).*?(<!-- findings:end -->)", re.DOTALL)


def _table() -> str:
    head = "| code | what it says | weight | where it comes from |\n| --- | --- | --- | --- |\n"
    rows = (
        f"| `{rule.code}` | {rule.title} | {rule.severity.name.lower()} | {rule.reference} |\n"
        for rule in findings.rules()
    )
    return head + "".join(rows)


def test_guide_lists_every_finding_code() -> None:
    guide = ROOT / "DEVELOPERS.md"
    text = guide.read_text(encoding="utf-8")
    wanted = BLOCK.sub(lambda match: match.group(1) + _table() + match.group(2), text)
    if os.environ.get("PLENUM_RECORD"):
        guide.write_text(wanted, encoding="utf-8")
        text = wanted
    assert text == wanted, "the table of findings is not up to date; see “A rule” in the guide"


def test_pictures_of_the_readme_exist() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert pictures, "the tour has no pictures"
    assert [name for name in pictures if not (ROOT / name).is_file()] == []


def test_calculations_of_the_readme_work() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^python3 manage\.py (calculate .+)$", text, re.MULTILINE)
    assert len(lines) >= 3
    for line in lines:
        out = io.StringIO()
        call_command(*shlex.split(line), stdout=out)
        assert out.getvalue().strip(), line


ROWS = {
    "see the project, units, library": {Action.SEE},
    "import and edit the schedule, library, limits, people": {
        Action.IMPORT_SCHEDULE,
        Action.EDIT_INVENTORY,
        Action.EDIT_LIBRARY,
        Action.EDIT_PROJECT,
        Action.MANAGE_PEOPLE,
    },
    "plan the work: steps, assignments, dates": {Action.PLAN_WORK},
    "mark steps": {Action.MARK_STEPS},
    "check out a unit, place units on a plan": {Action.CHECK_OUT, Action.PLACE_UNITS},
    "open a punch item, verify own, add photos": {
        Action.OPEN_PUNCH,
        Action.VERIFY_PUNCH,
        Action.ADD_FILE,
    },
    "answer a punch item": {Action.ANSWER_PUNCH},
    "see flow tests": {Action.SEE_TESTS},
    "enter readings": {Action.ENTER_READINGS},
    "keep instruments": {Action.EDIT_INSTRUMENTS},
    "accept or return a test": {Action.ACCEPT_TEST},
    "draft a document": {Action.DRAFT_DOCUMENT, Action.DRAFT_TEST_SHEET},
    "issue a document": {Action.ISSUE_DOCUMENT},
    "download issued documents": {Action.DOWNLOAD_ISSUED},
}
"""What a row of the README's table is about."""


def test_table_of_rights_in_the_readme_is_true() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    head = next(line for line in text.splitlines() if line.startswith("| | office"))
    roles = [cell.strip() for cell in head.strip("|").split("|")][1:]
    for row, actions in ROWS.items():
        line = next(line for line in text.splitlines() if line.startswith(f"| {row} |"))
        said = [cell.strip() for cell in line.strip("|").split("|")][1:]
        for role, word in zip(roles, said, strict=True):
            granted = actions & GRANTS[role]
            if word == "test sheets":
                assert granted == {Action.DRAFT_TEST_SHEET}, f"{row}: {role}"
            else:
                assert granted == (actions if word else set()), f"{row}: {role}"
    assert set().union(*ROWS.values()) == set(Action)
