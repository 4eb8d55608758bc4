"""Typed readers of the environment. A secret may be given as NAME or, by file, as NAME_FILE."""

from __future__ import annotations

import os
from pathlib import Path

_TRUE = frozenset({"1", "true", "yes", "on"})
_FALSE = frozenset({"0", "false", "no", "off", ""})


class SettingError(RuntimeError):
    """A setting is missing or cannot be read; the message names it."""


def string(name: str, default: str = "") -> str:
    """Read a text."""
    return os.environ.get(name, default)


def boolean(name: str, *, default: bool = False) -> bool:
    """Read a yes or no; anything else than 1/true/yes/on or 0/false/no/off stops the start."""
    raw = os.environ.get(name)
    if raw is None:
        return default
    word = raw.strip().casefold()
    if word in _TRUE:
        return True
    if word in _FALSE:
        return False
    raise SettingError(f"{name} is {raw!r}; use 1 or 0")


def integer(name: str, default: int) -> int:
    """Read a whole number."""
    raw = os.environ.get(name)
    if raw is None:
        return default
    try:
        return int(raw)
    except ValueError:
        raise SettingError(f"{name} is {raw!r}; use a whole number") from None


def words(name: str, default: str = "") -> list[str]:
    """Read a comma-separated list."""
    return [word.strip() for word in string(name, default).split(",") if word.strip()]


def secret(name: str, *, fallback_file: Path | None = None) -> str:
    """Read a secret from NAME, from the file that NAME_FILE names, or from a fall-back file.

    Raises
    ------
    SettingError
        When none of the three gives a value.
    """
    value = os.environ.get(name)
    if value:
        return value
    path = os.environ.get(f"{name}_FILE")
    for candidate in (Path(path) if path else None, fallback_file):
        if candidate is not None and candidate.is_file():
            text = candidate.read_text(encoding="utf-8").strip()
            if text:
                return text
    raise SettingError(f"{name} is not set. Set it, or name a file that holds it in {name}_FILE.")
