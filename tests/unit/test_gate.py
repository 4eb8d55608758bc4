"""The gate runs every step, says what failed, and never passes by running nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from projectsite import gate
from projectsite.gate import Step
from projectsite.machine import MissingError

PROJECT = Path(__file__).resolve().parents[2]
GOOD = [sys.executable, "-c", "pass"]
BAD = [sys.executable, "-c", "raise SystemExit(3)"]


def test_all_steps_run_although_one_fails(capfd: pytest.CaptureFixture[str]) -> None:
    steps = [Step("first", GOOD), Step("second", BAD), Step("third", GOOD)]
    assert gate.run(PROJECT, steps, {}) == 1
    shown = capfd.readouterr().err
    assert shown.index("==> second") < shown.index("==> third")
    assert "FAILED  second" in shown
    assert shown.rstrip().endswith("Failed: second")


def test_gate_passes_when_all_pass(capfd: pytest.CaptureFixture[str]) -> None:
    assert gate.run(PROJECT, [Step("first", GOOD)], {}) == 0
    assert capfd.readouterr().err.rstrip().endswith("All passed.")


def test_missing_tool_is_a_failure(capfd: pytest.CaptureFixture[str]) -> None:
    assert gate.run(PROJECT, [Step("tool", ["/nonexistent/tool"])], {}) == 1
    assert "can't be run" in capfd.readouterr().err


def test_step_sees_its_own_settings() -> None:
    probe = "import os; raise SystemExit(os.environ['A'] != 'step')"
    steps = [Step("probe", [sys.executable, "-c", probe], {"A": "step"})]
    assert gate.run(PROJECT, steps, {"A": "common"}) == 0


def test_steps_come_in_the_agreed_order() -> None:
    names = [step.name for step in gate.checks(PROJECT)]
    assert names == [
        *("format", "lint", "imports", "types", "template format", "template lint"),
        *("deployment", "migrations", "API description"),
    ]


def test_templates_of_the_project_are_checked_and_no_others() -> None:
    command = next(s.command for s in gate.checks(PROJECT) if s.name == "template format")
    files = [word for word in command if word.endswith(".html")]
    assert files
    assert all((PROJECT / file).is_file() for file in files)
    assert not any(file.startswith(".venv") for file in files)


def test_tools_are_those_of_the_environment() -> None:
    for step in gate.checks(PROJECT):
        assert Path(step.command[0]).is_file(), step.name


@pytest.mark.parametrize(
    ("arguments", "workers"),
    [([], True), (["-k", "x"], True), (["-n", "4"], False), (["-n0"], False), (["--pdb"], False)],
)
def test_two_workers_unless_chosen(arguments: list[str], workers: bool) -> None:
    command = gate.tests(PROJECT, arguments)[0].command
    assert ("-n 2" in " ".join(command)) is workers
    assert command[len(command) - len(arguments) :] == arguments


def test_scripts_are_tested_too(tmp_path: Path) -> None:
    folder = tmp_path / "tests" / "js"
    folder.mkdir(parents=True)
    (folder / "a.test.mjs").touch()
    (folder / "helper.mjs").touch()
    whole = gate.tests(tmp_path, [])
    assert [step.name for step in whole] == ["tests", "script tests"]
    assert whole[1].command[1:] == ["--test", str(folder / "a.test.mjs")]
    assert [step.name for step in gate.tests(tmp_path, ["-k", "x"])] == ["tests"]


def test_gate_takes_no_options() -> None:
    with pytest.raises(MissingError, match="takes no options"):
        gate.main(PROJECT, ["gate", "-k", "x"])
