"""From a bare Python to a running command: what is decided, without a network."""

from __future__ import annotations

import ast
import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from projectsite import bootstrap, machine
from projectsite.machine import MissingError

PROJECT = Path(__file__).resolve().parents[2]


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project with two lock files that ask for nothing, in a folder with a space."""
    monkeypatch.delenv("PLENUM_VAR", raising=False)
    folder = tmp_path / "a project"
    (folder / "tests").mkdir(parents=True)
    (folder / "requirements.txt").write_text("# nothing\n")
    (folder / "tests" / "requirements.txt").write_text("# nothing for tests\n")
    return folder


def make_complete(project: Path, **overrides: str) -> Path:
    """An environment that looks as a finished build leaves it."""
    venv = project / ".venv"
    (venv / "bin").mkdir(parents=True, exist_ok=True)
    python = venv / "bin" / "python"
    if not python.exists():
        python.symlink_to(sys.executable)
    stamp = {
        "requirements.txt": bootstrap.fingerprint(project / "requirements.txt"),
        "place": str(venv),
        "python": bootstrap.python_version(),
        **overrides,
    }
    (venv / bootstrap.STAMP).write_text(json.dumps(stamp))
    return venv


def test_complete_environment_is_current(project: Path) -> None:
    make_complete(project)
    assert bootstrap.is_current(project, tests=False, inside=False)
    assert bootstrap.is_current(project, tests=False, inside=True)


def test_test_packages_are_asked_for_apart(project: Path) -> None:
    make_complete(project)
    assert not bootstrap.is_current(project, tests=True, inside=False)
    lock = project / "tests" / "requirements.txt"
    make_complete(project, **{"tests/requirements.txt": bootstrap.fingerprint(lock)})
    assert bootstrap.is_current(project, tests=True, inside=False)


def test_changed_lock_file_is_noticed(project: Path) -> None:
    make_complete(project)
    (project / "requirements.txt").write_text("# something else\n")
    assert not bootstrap.is_current(project, tests=False, inside=False)
    assert bootstrap.is_usable(
        project / ".venv", bootstrap.read_stamp(project / ".venv"), inside=False
    )


def test_moved_environment_is_made_anew(project: Path) -> None:
    make_complete(project)
    moved = project.with_name("moved")
    project.rename(moved)
    venv = moved / ".venv"
    assert not bootstrap.is_usable(venv, bootstrap.read_stamp(venv), inside=False)


def test_environment_of_another_python_is_made_anew(project: Path) -> None:
    venv = make_complete(project, python="3.0")
    stamp = bootstrap.read_stamp(venv)
    assert not bootstrap.is_usable(venv, stamp, inside=True)


def test_interrupted_build_is_begun_anew(project: Path) -> None:
    venv = make_complete(project)
    (venv / bootstrap.BUILDING).touch()
    assert not bootstrap.is_usable(venv, bootstrap.read_stamp(venv), inside=False)


def test_environment_whose_python_vanished_is_made_anew(project: Path) -> None:
    venv = make_complete(project)
    (venv / "bin" / "python").unlink()
    (venv / "bin" / "python").symlink_to("/nonexistent/python3")
    assert not bootstrap.is_usable(venv, bootstrap.read_stamp(venv), inside=False)


@pytest.mark.parametrize("content", ["", "{", "[]", "null", '{"place": 3}'])
def test_broken_stamp_means_nothing_is_installed(project: Path, content: str) -> None:
    venv = make_complete(project)
    (venv / bootstrap.STAMP).write_text(content)
    assert not bootstrap.is_current(project, tests=False, inside=False)


def test_build_from_nothing_and_after_a_kill(project: Path) -> None:
    """A real environment, with lock files that ask for no package."""
    assert bootstrap.build(project, tests=True, inside=False)
    venv = project / ".venv"
    assert bootstrap.is_current(project, tests=True, inside=False)
    shown = [str(venv / "bin" / "python"), "-c", "import sys; print(sys.prefix)"]
    assert subprocess.check_output(shown, text=True).strip() == str(venv)
    # Killed in the middle of an installation: something half-written lies about.
    leftover = venv / "lib" / bootstrap_library(venv) / "site-packages" / "half.py"
    leftover.write_text("import")
    (venv / bootstrap.BUILDING).touch()
    assert bootstrap.build(project, tests=False, inside=False)
    assert not leftover.exists()
    assert bootstrap.is_current(project, tests=False, inside=False)


def test_environment_made_by_hand_is_completed_not_removed(project: Path) -> None:
    venv = project / ".venv"
    subprocess.run([sys.executable, "-m", "venv", str(venv)], check=True)
    own = venv / "something-of-mine"
    own.touch()
    assert not bootstrap.is_current(project, tests=False, inside=False)
    assert bootstrap.build(project, tests=False, inside=False)
    assert own.exists()
    assert bootstrap.is_current(project, tests=False, inside=False)


def bootstrap_library(venv: Path) -> str:
    """Name of the folder of the environment's Python below lib."""
    return next((venv / "lib").glob("python3.*")).name


def test_refused_package_names_the_reason_and_leaves_no_stamp(project: Path) -> None:
    wheel = project / "thing-1.0-py3-none-any.whl"
    wheel.write_bytes(b"not what was locked")
    lock = f"thing @ {wheel.as_uri()} --hash=sha256:{'0' * 64}\n"
    (project / "requirements.txt").write_text(lock)
    with pytest.raises(MissingError, match=r"(?s)HASHES.*could not be installed"):
        bootstrap.build(project, tests=False, inside=False)
    assert not bootstrap.is_current(project, tests=False, inside=False)
    kept = project / ".venv" / "kept"
    kept.touch()
    (project / "requirements.txt").write_text("# mended\n")
    assert bootstrap.build(project, tests=False, inside=False)
    assert kept.exists(), "a refusal is no reason to begin anew"


def test_missing_lock_file_is_said(project: Path) -> None:
    make_complete(project)
    (project / "requirements.txt").unlink()
    with pytest.raises(MissingError, match=r"requirements\.txt can't be read"):
        bootstrap.is_current(project, tests=False, inside=False)


def test_file_in_place_of_the_environment_is_said(project: Path) -> None:
    (project / ".venv").write_text("not a folder")
    with pytest.raises(MissingError, match="can't be made"):
        bootstrap.make_venv(project / ".venv")


def test_going_round_in_circles_is_stopped(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_complete(project)
    monkeypatch.setenv(bootstrap.INSIDE, str(os.getpid()))
    with pytest.raises(MissingError, match="doesn't work with this Python"):
        bootstrap.enter_environment(project, ["manage.py", "check"], tests=False)


def test_options_that_lead_pip_astray_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", "/somewhere")
    monkeypatch.setenv("PIP_TARGET", "/somewhere")
    monkeypatch.setenv("PIP_USER", "1")
    monkeypatch.setenv("PIP_CERT", "/kept")
    environment = bootstrap._clean_environment()
    assert "PYTHONPATH" not in environment
    assert "PIP_TARGET" not in environment
    assert environment["PIP_USER"] == "0"
    assert environment["PIP_CERT"] == "/kept"


def test_private_state_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLENUM_VAR", str(tmp_path / "some where"))
    var = bootstrap.var_folder(PROJECT)
    assert var == tmp_path / "some where"
    bootstrap.prepare_var(var)
    assert stat.S_IMODE(var.stat().st_mode) == 0o711
    assert stat.S_IMODE((var / "media").stat().st_mode) == 0o700
    key = var / "secret-key"
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    first = key.read_text()
    assert len(first.strip()) >= 50
    bootstrap.prepare_var(var)
    assert key.read_text() == first


def test_existing_folder_keeps_its_permissions(tmp_path: Path) -> None:
    var = tmp_path / "var"
    var.mkdir()
    var.chmod(0o750)
    bootstrap.prepare_var(var)
    assert stat.S_IMODE(var.stat().st_mode) == 0o750


def test_empty_secret_is_made_again(tmp_path: Path) -> None:
    key = tmp_path / "secret-key"
    key.touch()
    bootstrap.ensure_secret(key)
    assert key.stat().st_size > 50
    assert list(tmp_path.iterdir()) == [key]


def test_secret_of_a_faster_start_wins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    key = tmp_path / "secret-key"
    fsync = os.fsync

    def other_start_is_faster(descriptor: int) -> None:
        key.write_text("theirs\n")
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", other_start_is_faster)
    bootstrap.ensure_secret(key)
    assert key.read_text() == "theirs\n"


def test_old_python_gets_a_plain_message() -> None:
    """What runs before the version check must be readable by Pythons long out of use."""
    source = (PROJECT / "manage.py").read_text()
    ast.parse(source, feature_version=(3, 4))
    check = source.split("from projectsite")[0].replace("sys.version_info <", "(3, 8) <")
    result = subprocess.run(
        [sys.executable, "-c", check], capture_output=True, text=True, check=False
    )
    assert result.returncode == 1
    assert "needs Python 3.11 or newer" in result.stderr


@pytest.mark.parametrize("name", ["bootstrap.py", "machine.py", "gate.py"])
def test_only_the_standard_library_is_needed(name: str) -> None:
    tree = ast.parse((PROJECT / "projectsite" / name).read_text(), feature_version=(3, 11))
    outside = set()
    for node in tree.body:
        if isinstance(node, ast.Import):
            outside |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            outside.add((node.module or "").split(".")[0])
    assert outside - set(sys.stdlib_module_names) <= {"projectsite"}


def test_missing_library_is_named_by_its_package() -> None:
    found = machine.missing_libraries({"libnosuchthing.so.7": "libnosuchthing7"})
    assert found == ["libnosuchthing7"]


def test_libraries_of_this_machine_are_complete() -> None:
    assert machine.missing_libraries() == []


def test_ordinary_user_is_told_the_one_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(shutil, "which", lambda _name: "/usr/bin/apt-get")
    with pytest.raises(MissingError) as raised:
        machine.require_packages(["libb", "liba", "libb"], "Making documents")
    assert str(raised.value).endswith(
        "sudo apt-get update && sudo apt-get install -y --no-install-recommends liba libb"
    )


def test_other_systems_are_told_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    with pytest.raises(MissingError, match="what Debian calls liba"):
        machine.require_packages(["liba"], "Making documents")


def test_root_installs_and_a_failure_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    apt = tmp_path / "apt-get"
    apt.write_text(f'#!/bin/sh\necho "$@" >> "{tmp_path}/calls"\ntest "$4" != libbroken\n')
    apt.chmod(0o755)
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=":")
    machine.require_packages(["liba"], "Making documents")
    calls = (tmp_path / "calls").read_text().splitlines()
    assert calls == ["update -qq", "install -y --no-install-recommends liba"]
    with pytest.raises(MissingError, match="could not install"):
        machine.require_packages(["libbroken"], "Making documents")


def test_browser_that_does_not_start_is_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shim = tmp_path / "chromium-browser"
    shim.write_text("#!/bin/sh\necho 'requires the snap to be installed' >&2\nexit 1\n")
    shim.chmod(0o755)
    monkeypatch.delenv("PLENUM_CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin")
    monkeypatch.setenv("PLAYWRIGHT_BROWSERS_PATH", str(tmp_path))
    monkeypatch.setattr(machine, "BROWSERS", ("chromium-browser",))
    assert machine.find_browser() is None
    good = tmp_path / "chromium-1" / "chrome-linux" / "chrome"
    good.parent.mkdir(parents=True)
    good.write_text("#!/bin/sh\necho 'Browser 1'\n")
    good.chmod(0o755)
    assert machine.find_browser() == good
    monkeypatch.setenv("PLENUM_CHROMIUM", str(shim))
    with pytest.raises(MissingError, match="PLENUM_CHROMIUM"):
        machine.find_browser()


def test_missing_browser_stops_the_tests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PLENUM_CHROMIUM", raising=False)
    monkeypatch.setattr(machine, "find_browser", lambda: None)
    monkeypatch.setattr(machine, "require_packages", lambda _packages, _purpose: None)
    with pytest.raises(MissingError, match="need Chromium"):
        machine.require_test_programs()
