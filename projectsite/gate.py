"""The checks that every change passes, and the way to the tests.

``manage.py test`` runs the whole suite; ``manage.py gate`` runs formatters,
linters, type checks, contracts and deployment checks first.  A step that
fails doesn't keep the next ones from running, so one run shows everything.
Standard library only; the tools are called as programs.
"""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from projectsite import machine
from projectsite.machine import MissingError, say

TOOLS = Path(sys.executable).parent
PYTHON = sys.executable
WORKERS = "2"


@dataclass(frozen=True)
class Step:
    """One program of the gate; it passes with exit status 0."""

    name: str
    command: list[str]
    environment: dict[str, str] = field(default_factory=dict)


def main(project: Path, words: list[str]) -> int:
    """Run ``test`` or ``gate`` with the words after it; returns the exit status.

    Raises
    ------
    MissingError
        The machine lacks something that the tests need.
    """
    command, arguments = words[0], words[1:]
    if command == "gate" and arguments:
        raise MissingError("gate takes no options; to run some of the tests use: test OPTIONS")
    signal.signal(signal.SIGTERM, _leave)
    browser = machine.require_test_programs()
    with database(project) as url:
        environment = {
            **os.environ,
            "DATABASE_URL": url,
            "DJANGO_SETTINGS_MODULE": "tests.settings",
            "PLENUM_CHROMIUM": str(browser),
            "PLENUM_NO_BOOTSTRAP": "1",
        }
        steps = checks(project) if command == "gate" else []
        steps += tests(project, arguments)
        return run(project, steps, environment)


def checks(project: Path) -> list[Step]:
    """Everything before the tests, in order."""
    templates = sorted(project.glob("*/**/templates/**/*.html"))
    own = [
        str(path.relative_to(project))
        for path in templates
        if not path.relative_to(project).parts[0].startswith(".")
    ]
    manage = [PYTHON, "manage.py"]
    # As a server behind a TLS proxy would be set up.
    served = {
        "DJANGO_SETTINGS_MODULE": "projectsite.settings",
        "PLENUM_SECRET_KEY": secrets.token_urlsafe(64),
        "PLENUM_HTTPS": "1",
        "PLENUM_ALLOWED_HOSTS": "ledger.example.org",
        "PLENUM_ADDRESS": "https://ledger.example.org",
        "PLENUM_PROXY_COUNT": "1",
    }
    deploy = ["check", "--deploy", "--fail-level", "WARNING"]
    schema = ["spectacular", "--validate", "--fail-on-warn", "--file", os.devnull]
    return [
        Step("format", [_tool("ruff"), "format", "--check", "--quiet", "."]),
        Step("lint", [_tool("ruff"), "check", "--quiet", "."]),
        Step("imports", [_tool("lint-imports")]),
        Step("types", [_tool("mypy")]),
        Step("template format", [_tool("djade"), "--check", "--target-version", "5.2", *own]),
        Step("template lint", [_tool("djlint"), "--lint", "--quiet", *own]),
        Step("deployment", [*manage, *deploy], served),
        Step("migrations", [*manage, "makemigrations", "--check", "--dry-run"], served),
        Step("API description", [*manage, *schema], served),
    ]


def tests(project: Path, arguments: list[str]) -> list[Step]:
    """The test suite; with options of pytest only what these select."""
    options = [] if _chooses_workers(arguments) else ["-n", WORKERS]
    steps = [Step("tests", [PYTHON, "-m", "pytest", *options, *arguments])]
    scripts = sorted((project / "tests" / "js").glob("**/*.test.*js"))
    if scripts and not arguments:
        node = shutil.which("node") or "node"
        steps.append(Step("script tests", [node, "--test", *map(str, scripts)]))
    return steps


def run(project: Path, steps: list[Step], environment: dict[str, str]) -> int:
    """Run all steps and print what came out; returns 1 if any failed, else 0."""
    results: list[tuple[str, int, float]] = []
    for step in steps:
        say(f"==> {step.name}")
        began = time.monotonic()
        status = _status_of(step, project, environment)
        results.append((step.name, status, time.monotonic() - began))
    if len(results) > 1:
        say("")
        for name, status, seconds in results:
            say(f"{'ok    ' if status == 0 else 'FAILED'}  {name:<16} {seconds:6.1f} s")
    failed = [name for name, status, _ in results if status != 0]
    say(f"Failed: {', '.join(failed)}" if failed else "All passed.")
    return 1 if failed else 0


@contextmanager
def database(project: Path) -> Iterator[str]:
    """Yield the address of the database for tests: DATABASE_URL, else a throwaway one."""
    if given := os.environ.get("DATABASE_URL"):
        yield given
        return
    # Installed packages are needed from here on.
    from projectsite import bootstrap  # noqa: PLC0415
    from projectsite.core import embedded, placement  # noqa: PLC0415

    var = bootstrap.var_folder(project) / "test"
    bootstrap.make_var(var)
    try:
        place = placement.place(var, embedded.find_bindir())
        server = embedded.PrivatePostgres(
            place.data,
            place.run,
            place.bindir,
            var / "database.log",
            account=place.account,
            settings={"fsync": "off", "full_page_writes": "off", "max_connections": "200"},
        )
        server.start(fresh=True)
    except (placement.PlacementError, embedded.DatabaseError) as error:
        raise MissingError(f"The database for tests can't be started. {error}") from None
    try:
        yield server.url()
    finally:
        server.stop()


def _status_of(step: Step, project: Path, environment: dict[str, str]) -> int:
    try:
        result = subprocess.run(  # the tools named above
            step.command,
            cwd=project,
            env={**environment, **step.environment},
            stdin=subprocess.DEVNULL,
            check=False,
        )
    except OSError as error:
        say(f"{step.command[0]} can't be run: {error.strerror}")
        return 1
    return result.returncode


def _tool(name: str) -> str:
    return str(TOOLS / name)


def _chooses_workers(arguments: list[str]) -> bool:
    return any(
        word.startswith(("-n", "--numprocesses", "--pdb")) or word == "no:xdist"
        for word in arguments
    )


def _leave(_number: int, _frame: object) -> None:
    raise SystemExit(143)
