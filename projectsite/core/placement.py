"""Where the private database lies, who owns it, and under which address it is reached.

An ordinary user has everything below ``var/``.  PostgreSQL refuses to run as
root, so under root it gets an account of its own, and a folder elsewhere when
that account can't reach ``var/``.  Nothing that we didn't make ourselves ever
changes its owner or its permissions.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import pwd
import shutil
import stat
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote, urlencode

ROLE = "plenum"
DATABASE = "plenum"
SOCKET_NAME = ".s.PGSQL.5432"
# unix(7): sun_path holds 108 bytes with the closing zero on Linux, 104 elsewhere.
SOCKET_PATH_LIMIT = 107 if os.uname().sysname == "Linux" else 103
ELSEWHERE = Path("/var/lib/plenum-ledger")
NOTE = "database-place.json"
ACCOUNTS = ("postgres", "plenum")


class PlacementError(Exception):
    """The private database has no place here; the text says why, for a person."""


@dataclass(frozen=True)
class Account:
    """An account of this machine."""

    name: str
    uid: int
    gid: int


@dataclass(frozen=True)
class Place:
    """Everything that a start of the private database has to know."""

    data: Path
    run: Path
    bindir: Path
    account: Account | None


def url_for(run: Path, database: str = DATABASE) -> str:
    """Address of a database on the server whose socket lies in ``run``."""
    query = urlencode({"host": str(run), "user": ROLE}, quote_via=quote)
    return f"postgresql:///{database}?{query}"


def database_url(var: Path) -> str:
    """Address of the private database of this ``var`` folder, whether it runs or not."""
    return url_for(_noted(var).get("run") or var.resolve() / "run" / "db")


def place(var: Path, bindir: Path, *, elsewhere: Path = ELSEWHERE) -> Place:
    """Decide where the private database lies, make its folders and note the place.

    Parameters
    ----------
    var : Path
        Folder of private state; it must exist.
    bindir : Path
        Folder of the server's binaries.
    elsewhere : Path
        Parent of the folder that is used under root when ``var`` is out of reach
        of the database's account.

    Raises
    ------
    PlacementError
        The folder belongs to somebody else, or no suitable account exists.
    """
    var = var.resolve()
    if (var / NOTE).exists() and not _noted(var):
        raise PlacementError(
            f"{var / NOTE} should say where the database lies and can't be read. Mend it "
            f"(see the folders in {elsewhere}), or remove it to begin with an empty database."
        )
    if os.geteuid() == 0:
        found = _place_as_root(var, elsewhere, bindir)
    else:
        found = _place_as_user(var, bindir)
    _write_note(var, found)
    return found


def _place_as_user(var: Path, bindir: Path) -> Place:
    data = var / "postgres"
    noted = _noted(var).get("data")
    if noted is not None or (data.exists() and data.stat().st_uid != os.geteuid()):
        raise PlacementError(
            f"The database of {var} was made by another account. Start as that account "
            "(root, if it was root), or name another folder in PLENUM_VAR."
        )
    run = var / "run" / "db"
    if not _fits(run):
        run = _short_run(var)
    _make_closed(run, None)
    return Place(data, run, bindir, None)


def _place_as_root(var: Path, elsewhere: Path, bindir: Path) -> Place:
    inside = var / "postgres"
    noted = _noted(var).get("data")
    base = _base_elsewhere(var, elsewhere, noted)
    data = noted or inside
    owner = data.stat().st_uid if data.exists() else 0
    account = _account_of(owner) if owner else _choose_account()
    if noted is None and not inside.exists() and not _may_enter(account, var):
        data = base / "data"
    run = var / "run" / "db"
    if data != inside or not _fits(run) or not _may_enter(account, var / "run"):
        run = base / "run"
    if base in (data.parent, run.parent):
        _make_base(base, var)
    if not _may_run(account, bindir / "postgres"):
        _make_base(base, var)
        bindir = _copy_binaries(bindir, base)
    _make_closed(run, account)
    return Place(data, run, bindir, account)


def _fits(run: Path) -> bool:
    return len(os.fsencode(run / SOCKET_NAME)) <= SOCKET_PATH_LIMIT


def _digest(path: Path) -> str:
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:16]


def _short_run(var: Path) -> Path:
    """Folder for the socket when the path below ``var`` is too long for one."""
    runtime = os.environ.get("XDG_RUNTIME_DIR")
    name = f"plenum-ledger-{os.geteuid()}-{_digest(var)}"
    for parent in [Path(runtime)] if runtime else []:
        if parent.is_dir() and os.access(parent, os.W_OK) and _fits(parent / name):
            return parent / name
    parent = Path(tempfile.gettempdir())
    return parent / name if _fits(parent / name) else Path("/tmp") / name  # noqa: S108  checked


def _make_closed(folder: Path, account: Account | None) -> None:
    """Make the folder for its owner alone; refuse one that isn't, or a link."""
    make_passable(folder.parent, 0o711)
    uid = account.uid if account else os.geteuid()
    try:
        folder.mkdir(mode=0o700)
    except FileExistsError:
        pass
    else:
        if account:
            os.chown(folder, account.uid, account.gid)
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != uid or found.st_mode & 0o077:
        raise PlacementError(
            f"{folder} must be a folder that only its owner can enter "
            f"(account number {uid}, mode 0700), and isn't. Remove it and start again."
        )


def make_passable(folder: Path, mode: int) -> None:
    """Make a folder that others can pass through, whatever the umask of the person is."""
    with contextlib.suppress(FileExistsError):
        folder.mkdir(parents=True)
        folder.chmod(mode)


def _make_base(base: Path, var: Path) -> None:
    make_passable(base.parent, 0o755)
    make_passable(base, 0o711)
    if base.lstat().st_uid != os.geteuid() or not base.is_dir() or base.is_symlink():
        raise PlacementError(f"{base} belongs to another account.")
    (base / "belongs-to").write_text(f"{var}\n")


def _base_elsewhere(var: Path, elsewhere: Path, noted: Path | None) -> Path:
    """Folder outside of ``var``; the one in use is kept when the project was moved."""
    if noted is None:
        # Data of a former project at the same path are not this project's.
        names = (_digest(var) + suffix for suffix in ("", *(f"-{n}" for n in range(2, 1000))))
        return next(elsewhere / name for name in names if not (elsewhere / name / "data").exists())
    base = noted.parent
    try:
        former = Path((base / "belongs-to").read_text().removesuffix("\n"))
    except OSError:
        return base
    if former != var and _noted(former).get("data") == noted:
        raise PlacementError(
            f"{var} looks like a copy of {former}, whose database is {noted}. Start that one, "
            f"or remove {var / NOTE} to begin with an empty database."
        )
    return base


def _choose_account() -> Account:
    for name in ACCOUNTS:
        if found := _account_named(name):
            return found
    if useradd := shutil.which("useradd", path="/usr/sbin:/sbin:/usr/bin"):
        subprocess.run(  # noqa: S603  fixed arguments
            [useradd, "--system", "--no-create-home", "--shell", "/usr/sbin/nologin", "plenum"],
            check=False,
            capture_output=True,
        )
    found = _account_named("plenum") or _account_named("nobody")
    if found is None:
        raise PlacementError(
            "PostgreSQL doesn't run as root, and there is no other account for it. "
            "Start as an ordinary user, or set DATABASE_URL to a server of your own."
        )
    return found


def _account_named(name: str) -> Account | None:
    try:
        entry = pwd.getpwnam(name)
    except KeyError:
        return None
    return Account(name, entry.pw_uid, entry.pw_gid) if entry.pw_uid else None


def _account_of(uid: int) -> Account:
    try:
        entry = pwd.getpwuid(uid)
    except KeyError:
        return Account(str(uid), uid, uid)
    return Account(entry.pw_name, uid, entry.pw_gid)


def _may_enter(account: Account, folder: Path) -> bool:
    """Whether the account can pass through the folder and all above it.

    The nearest folder that exists is asked, as what we make below can be entered.
    """
    while not folder.exists():
        folder = folder.parent
    return _may_run(account, folder)


def _may_run(account: Account, path: Path) -> bool:
    """Ask the kernel, which also knows access lists and mount options."""
    result = subprocess.run(  # noqa: S603  fixed program, our own path
        ["/usr/bin/test", "-x", str(path)],
        check=False,
        cwd="/",
        user=account.uid,
        group=account.gid,
        extra_groups=[],
    )
    return result.returncode == 0


def _copy_binaries(bindir: Path, base: Path) -> Path:
    """Copy the wheel's server next to the data, once per version of it."""
    package = bindir.parent.parent
    libraries = package.with_name(package.name + ".libs")  # found relative to the binaries
    postgres = (bindir / "postgres").stat()
    mark = _digest(Path(f"{bindir.parent.name}-{postgres.st_size}-{postgres.st_mtime_ns}"))
    target = base / f"server-{mark}"
    copied = target / package.name / bindir.parent.name / "bin"
    if not target.is_dir():
        making = base / f"server-{mark}.making"
        shutil.rmtree(making, ignore_errors=True)
        inner = making / package.name / bindir.parent.name
        shutil.copytree(
            bindir.parent, inner, symlinks=True, ignore=shutil.ignore_patterns("include")
        )
        if libraries.is_dir():
            shutil.copytree(libraries, making / libraries.name, symlinks=True)
        for folder in (making, making / package.name):
            folder.chmod(0o755)  # made by us a moment ago, whatever the umask
        making.rename(target)
        for former in base.glob("server-*"):
            if former != target:
                shutil.rmtree(former, ignore_errors=True)
    return copied


def _noted(var: Path) -> dict[str, Path]:
    """Places outside of ``var`` that an earlier start chose; a broken note says nothing."""
    try:
        content = json.loads((var / NOTE).read_text())
    except (OSError, ValueError):
        return {}
    if not isinstance(content, dict):
        return {}
    return {
        key: Path(value)
        for key, value in content.items()
        if key in ("data", "run") and isinstance(value, str) and Path(value).is_absolute()
    }


def _write_note(var: Path, found: Place) -> None:
    """Note what lies outside of ``var``, so that a moved ``var`` still finds it."""
    note = {
        key: str(path)
        for key, path in (("data", found.data), ("run", found.run))
        if not path.is_relative_to(var)
    }
    path = var / NOTE
    if not note:
        path.unlink(missing_ok=True)
        return
    text = json.dumps(note)
    if not path.exists() or path.read_text() != text:
        making = path.with_name(NOTE + ".new")
        with making.open("w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        making.replace(path)
