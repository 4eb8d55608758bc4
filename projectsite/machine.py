"""What the machine itself must have: system libraries, a browser, a few programs.

As root on Debian and its family what is missing is installed; everybody else
is told the one command that does it.  Standard library only.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

# Shared libraries that the document renderer opens by name, and their Debian packages.
LIBRARIES = {
    "libgobject-2.0.so.0": "libglib2.0-0",
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz.so.0": "libharfbuzz0b",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
    "libfontconfig.so.1": "libfontconfig1",
}
# Programs that only the tests need, and their Debian packages.
TEST_PROGRAMS = {"pdftotext": "poppler-utils", "pdftoppm": "poppler-utils", "node": "nodejs"}
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


class MissingError(Exception):
    """The machine lacks something; the text names it and the command that brings it."""


def say(line: str) -> None:
    """Tell the person at the terminal; standard output is left to the command itself."""
    sys.stderr.write(f"{line}\n")
    sys.stderr.flush()


def require_packages(packages: Iterable[str], purpose: str) -> None:
    """Install Debian packages as root; otherwise name the command.

    Raises
    ------
    MissingError
        They can't be installed from here.
    """
    wanted = sorted(set(packages))
    if not wanted:
        return
    command = ["apt-get", "install", "-y", "--no-install-recommends", *wanted]
    if shutil.which("apt-get") is None:
        raise MissingError(
            f"{purpose} needs what Debian calls {', '.join(wanted)}. "
            "Install these with the package manager of this system and start again."
        )
    if os.geteuid() != 0:
        raise MissingError(
            f"{purpose} needs system packages that are missing. Run this once, then start again:\n"
            f"  sudo apt-get update && sudo {' '.join(command)}"
        )
    say(f"Installing system packages: {', '.join(wanted)}")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    # An old list still installs most packages; a failed update alone is no reason to stop.
    subprocess.run(["apt-get", "update", "-qq"], env=environment, check=False, stdout=sys.stderr)  # noqa: S607  apt of the system
    result = subprocess.run(command, env=environment, check=False, stdout=sys.stderr)  # noqa: S603  fixed names
    if result.returncode != 0:
        raise MissingError(
            f"{purpose} needs system packages, and apt-get could not install them (see above). "
            f"Run this by hand, then start again:\n  {' '.join(command)}"
        )


def missing_libraries(libraries: dict[str, str] | None = None) -> list[str]:
    """Debian packages of the libraries that can't be opened."""
    missing = []
    for library, package in (libraries or LIBRARIES).items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return missing


def require_libraries() -> None:
    """Make sure of the libraries for documents."""
    require_packages(missing_libraries(), "Making documents")
    if left := missing_libraries():
        raise MissingError(f"Libraries for documents still can't be opened: {', '.join(left)}")


def require_venv_module() -> None:
    """Make sure that this Python can make virtual environments with pip in them."""
    # Debian leaves parts of both modules behind when their package is missing.
    probe = "import ensurepip, venv; ensurepip.version()"
    if _runs([sys.executable, "-c", probe]):
        return
    require_packages(["python3-venv"], "A virtual environment")
    if not _runs([sys.executable, "-c", probe]):
        raise MissingError(
            f"{sys.executable} lacks the modules venv and ensurepip, and python3-venv doesn't "
            "bring them to it. Start with the system's own python3, or complete this one."
        )


def require_test_programs() -> Path:
    """Make sure of the programs that the tests run; returns the browser.

    Raises
    ------
    MissingError
        One is missing and can't be installed.  Tests are never left out instead.
    """
    packages = [package for name, package in TEST_PROGRAMS.items() if shutil.which(name) is None]
    browser = find_browser()
    if browser is None and not _is_ubuntu():
        packages.append("chromium")
    require_packages(packages, "The test suite")
    browser = browser or find_browser()
    if browser is None:
        raise MissingError(
            "The browser tests need Chromium or Chrome. Install one, for example by\n"
            f"  {sys.executable} -m playwright install --with-deps chromium\n"
            "or name its program in PLENUM_CHROMIUM."
        )
    return browser


def find_browser() -> Path | None:
    """Find a browser that starts; some distributions ship one that only asks for another."""
    if chosen := os.environ.get("PLENUM_CHROMIUM"):
        if not _runs([chosen, "--version"]):
            raise MissingError(f"PLENUM_CHROMIUM names {chosen}, which doesn't start.")
        return Path(chosen)
    found = [Path(path) for name in BROWSERS if (path := shutil.which(name))]
    cache = Path(os.environ.get("PLAYWRIGHT_BROWSERS_PATH") or Path.home() / ".cache/ms-playwright")
    found += sorted(cache.glob("chromium-*/chrome-linux*/chrome"), reverse=True)
    return next((path for path in found if _runs([str(path), "--version"])), None)


def _is_ubuntu() -> bool:
    """Whether the package ``chromium`` is only a pointer to a snap here."""
    try:
        return "\nID=ubuntu\n" in "\n" + Path("/etc/os-release").read_text()
    except OSError:
        return False


def _runs(command: list[str]) -> bool:
    try:
        result = subprocess.run(command, capture_output=True, check=False, timeout=60)  # noqa: S603  programs of this machine
    except (OSError, subprocess.TimeoutExpired):
        return False
    return result.returncode == 0
