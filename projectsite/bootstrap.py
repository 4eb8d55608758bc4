"""From a bare ``python3`` to a running command, with the standard library only.

Makes ``.venv`` beside ``manage.py``, installs the locked requirements into
it, checks what the machine itself must have, and runs ``manage.py`` again
inside.  What was installed is remembered in a stamp, so that later commands
only compare it.  A build that was interrupted leaves a mark and is begun anew.

``PLENUM_NO_BOOTSTRAP=1`` leaves all of this out, for a server whose
environment somebody else keeps.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import secrets
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from projectsite import machine
from projectsite.machine import MissingError, say

PROJECT = Path(__file__).resolve().parent.parent
STAMP = "plenum-installed.json"
BUILDING = "plenum-building"  # lies in .venv while it is being built
INSIDE = "PLENUM_INSIDE"  # process that entered the environment, against going round in circles
WITH_LIBRARIES = ("start", "test", "gate")
WITH_TESTS = ("test", "gate")


def main(arguments: list[str]) -> int:
    """Run a command of ``manage.py``; returns its exit status.

    Parameters
    ----------
    arguments : list[str]
        As in ``sys.argv``, the program first.
    """
    command = arguments[1] if len(arguments) > 1 else ""
    try:
        if os.environ.get("PLENUM_NO_BOOTSTRAP") != "1":
            enter_environment(PROJECT, arguments, tests=command in WITH_TESTS)
            if command in WITH_LIBRARIES:
                machine.require_libraries()
            prepare_var(var_folder(PROJECT))
        if command in WITH_TESTS:
            from projectsite.gate import main as run_gate  # noqa: PLC0415  not needed by other commands

            return run_gate(PROJECT, arguments[1:])
    except MissingError as error:
        say(str(error))
        return 1
    except KeyboardInterrupt:
        say("Stopped.")
        return 130
    return run_django(arguments)


def run_django(arguments: list[str]) -> int:
    """Hand the command to Django."""
    from projectsite.env import SettingError  # noqa: PLC0415  after the environment is complete

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "projectsite.settings")
    try:
        from django.core.management import execute_from_command_line  # noqa: PLC0415  installed by now

        execute_from_command_line(arguments)
    except SettingError as error:
        say(str(error))
        return 1
    return 0


# -- the virtual environment ---------------------------------------------------


def enter_environment(project: Path, arguments: list[str], *, tests: bool) -> None:
    """Make sure of the environment and continue in it; returns only inside.

    Parameters
    ----------
    project : Path
        Folder with ``manage.py`` and ``requirements.txt``.
    arguments : list[str]
        As in ``sys.argv``; run again inside.
    tests : bool
        Whether the packages of the tests are wanted too.

    Raises
    ------
    MissingError
        The environment can't be made; the text says why.
    """
    venv = project / ".venv"
    inside = is_inside(venv)
    changed = False
    if not is_current(project, tests=tests, inside=inside):
        with build_lock(project):
            # Another start may have built it while this one waited.
            if not is_current(project, tests=tests, inside=inside):
                changed = build(project, tests=tests, inside=inside)
    if inside and not changed:
        return
    if os.environ.get(INSIDE) == str(os.getpid()) and not changed:
        raise MissingError(f"{venv} doesn't work with this Python. Remove it and start again.")
    os.environ[INSIDE] = str(os.getpid())  # which stays the same below
    sys.stdout.flush()
    sys.stderr.flush()
    python = str(venv / "bin" / "python")
    os.execv(python, [python, str(project / "manage.py"), *arguments[1:]])  # noqa: S606  ourselves


def is_inside(venv: Path) -> bool:
    """Whether this Python is the environment's."""
    return Path(sys.prefix).resolve() == venv.resolve()


def requirement_files(project: Path, *, tests: bool) -> list[Path]:
    """Lock files to install, in order."""
    files = [project / "requirements.txt"]
    return [*files, project / "tests" / "requirements.txt"] if tests else files


def fingerprint(path: Path) -> str:
    """Hash of a lock file."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise MissingError(f"{path} can't be read: {error.strerror}.") from None


def read_stamp(venv: Path) -> dict[str, str]:
    """What the last complete build left; empty when there was none or it can't be read."""
    try:
        content = json.loads((venv / STAMP).read_text())
    except (OSError, ValueError):
        return {}
    if not isinstance(content, dict):
        return {}
    return {str(key): str(value) for key, value in content.items()}


def is_whole(venv: Path, stamp: dict[str, str]) -> bool:
    """Whether no build of the environment was interrupted and it wasn't moved here.

    One without a stamp was made by hand; it is completed, not removed.
    """
    return not (venv / BUILDING).exists() and stamp.get("place", str(venv)) == str(venv)


def is_usable(venv: Path, stamp: dict[str, str], *, inside: bool) -> bool:
    """Whether the environment is complete, stands where it was made and fits its Python."""
    if not is_whole(venv, stamp) or stamp.get("place") != str(venv):
        return False
    if inside and stamp.get("python") != python_version():
        return False
    return os.access(venv / "bin" / "python", os.X_OK)


def is_current(project: Path, *, tests: bool, inside: bool) -> bool:
    """Whether everything wanted is installed in the environment."""
    venv = project / ".venv"
    stamp = read_stamp(venv)
    return is_usable(venv, stamp, inside=inside) and all(
        stamp.get(str(path.relative_to(project))) == fingerprint(path)
        for path in requirement_files(project, tests=tests)
    )


def python_version() -> str:
    """Version as far as installed packages depend on it."""
    return f"{sys.version_info.major}.{sys.version_info.minor}"


@contextlib.contextmanager
def build_lock(project: Path) -> Iterator[None]:
    """Let one build at a time through; the lock falls with its process."""
    path = var_folder(project) / "bootstrap.lock"
    make_var(path.parent)
    with path.open("a") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Another command is installing the packages; waiting for it.")
            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def build(project: Path, *, tests: bool, inside: bool) -> bool:
    """Make or complete the environment; always returns True, for something changed."""
    venv = project / ".venv"
    python = venv / "bin" / "python"
    stamp = read_stamp(venv)
    began = time.monotonic()
    outdated = inside and stamp.get("python", python_version()) != python_version()
    if outdated or not is_whole(venv, stamp) or not _answers(python):
        make_venv(venv)
        stamp = {}
    (venv / BUILDING).touch()
    (venv / STAMP).unlink(missing_ok=True)
    for path in requirement_files(project, tests=tests):
        name = str(path.relative_to(project))
        if stamp.get(name) == fingerprint(path):
            continue
        count = sum("==" in line for line in path.read_text().splitlines())
        say(
            f"Installing {count} packages of {name} into .venv; this takes a minute the first time."
        )
        try:
            install(python, path)
        except MissingError:
            # Said, not killed: what is there is whole, and the next start goes on from it.
            write_stamp(venv, stamp)
            raise
        stamp[name] = fingerprint(path)
    write_stamp(venv, stamp)
    say(f"Packages are ready ({time.monotonic() - began:.0f} s).")
    return True


def write_stamp(venv: Path, installed: dict[str, str]) -> None:
    """Note what is installed, and that no build is going on any more."""
    python = _version_of(venv / "bin" / "python")
    making = venv / f"{STAMP}.new"
    making.write_text(json.dumps({**installed, "place": str(venv), "python": python}, indent=1))
    making.replace(venv / STAMP)
    (venv / BUILDING).unlink()


def make_venv(venv: Path) -> None:
    """Make the environment from the Python that lies below the running one."""
    machine.require_venv_module()
    base = getattr(sys, "_base_executable", None) or sys.executable
    say(f"Making the virtual environment {venv}")
    try:
        if venv.is_dir() and not venv.is_symlink():
            shutil.rmtree(venv)
        venv.mkdir(exist_ok=True)
        (venv / BUILDING).touch()  # first, so that a kill from here on is noticed
    except OSError as error:
        raise MissingError(f"{venv} can't be made: {error.strerror}.") from None
    result = subprocess.run(  # noqa: S603  the running Python
        [base, "-m", "venv", str(venv)],
        capture_output=True,
        text=True,
        check=False,
        env=_clean_environment(),
    )
    if result.returncode != 0:
        reason = (result.stderr or result.stdout).strip()
        raise MissingError(f"The virtual environment {venv} can't be made:\n{reason}")


def install(python: Path, requirements: Path) -> None:
    """Install a lock file; every file that pip fetches must have a listed hash."""
    command = [str(python), "-m", "pip", "install", "--require-hashes", "--no-input", "--quiet"]
    command += ["--disable-pip-version-check", "--no-warn-script-location"]
    result = subprocess.run(  # noqa: S603  our own environment
        [*command, "-r", str(requirements)],
        capture_output=True,
        text=True,
        check=False,
        env=_clean_environment(),
    )
    if result.returncode != 0:
        reason = "\n".join((result.stderr or result.stdout).strip().splitlines()[-15:])
        raise MissingError(
            f"{reason}\nSome packages could not be installed (the reason is above). When that "
            "is mended, start again; nothing needs to be removed."
        )


def _clean_environment() -> dict[str, str]:
    """Environment without what would lead pip or Python past the virtual environment."""
    astray = {"PYTHONPATH", "PYTHONHOME", "PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_NO_DEPS"}
    return {
        **{key: value for key, value in os.environ.items() if key not in astray},
        "PIP_USER": "0",
        "PIP_ROOT_USER_ACTION": "ignore",
    }


def _answers(python: Path) -> bool:
    """Whether the environment's Python runs and has pip; it may be the rest of an older one."""
    return _output([str(python), "-c", "import pip; print('ready')"]) == "ready"


def _version_of(python: Path) -> str:
    return _output([str(python), "-c", "import sys; print('%d.%d' % sys.version_info[:2])"])


def _output(command: list[str]) -> str:
    try:
        result = subprocess.run(  # noqa: S603  the environment's Python
            command, capture_output=True, text=True, check=False, env=_clean_environment()
        )
    except OSError:
        return ""
    return result.stdout.strip() if result.returncode == 0 else ""


# -- private state ---------------------------------------------------------------


def var_folder(project: Path) -> Path:
    """Folder of private state: PLENUM_VAR, else ``var`` in the project."""
    return Path(os.environ.get("PLENUM_VAR") or project / "var").resolve()


def make_var(var: Path) -> None:
    """Make the folder of private state.

    Others may pass through it, since the account of the database has to, but
    they can't list it; what is secret in it is closed by itself.
    """
    if var.is_dir():
        return
    try:
        var.mkdir(parents=True, exist_ok=True)
        var.chmod(0o711)
    except OSError as error:
        raise MissingError(f"{var} can't be made: {error.strerror}.") from None


def prepare_var(var: Path) -> None:
    """Make the folder of private state with what the settings expect in it."""
    make_var(var)
    try:
        for name in ("media", "log"):
            (var / name).mkdir(mode=0o700, exist_ok=True)
        ensure_secret(var / "secret-key")
    except PermissionError as error:
        raise MissingError(
            f"{error.filename or var} belongs to another account. Start as that account, "
            "or name another folder in PLENUM_VAR."
        ) from None


def ensure_secret(path: Path) -> None:
    """Make the secret key once; two first starts at a time agree on one."""
    if path.exists() and path.stat().st_size:
        return
    making = path.with_name(f".{path.name}.{os.getpid()}")
    descriptor = os.open(making, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(secrets.token_urlsafe(64) + "\n")
        file.flush()
        os.fsync(file.fileno())
    if path.exists() and not path.stat().st_size:  # cut by a full disk or a crash
        path.unlink()
    with contextlib.suppress(FileExistsError):
        path.hardlink_to(making)
    making.unlink()
