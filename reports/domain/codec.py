"""Frozen dataclasses to plain JSON values and back, without loss."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


class BrokenDossier(ValueError):
    """Stored data that does not fit the dossier's types; the message says where."""


def encode(value: Any) -> Any:
    """Give a dataclass tree as dictionaries, lists and plain values."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: encode(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [encode(item) for item in value]
    return value


_known: dict[type, Mapping[str, Any]] = {}


def _hints(cls: type) -> Mapping[str, Any]:
    """Types of a dataclass's fields; looked up once, as it takes long."""
    if cls not in _known:
        _known[cls] = get_type_hints(cls)
    return _known[cls]


def decode(cls: type[T], data: Any, *, where: str = "dossier") -> T:
    """Build a dataclass tree from what ``encode`` gave.

    A field that is missing takes its default, so that a document issued by an older program
    of the same schema can be read; a field that is not known is refused.

    Raises
    ------
    BrokenDossier
        The data do not fit; the message names the place.
    """
    if not isinstance(data, Mapping):
        raise BrokenDossier(f"{where} is not a record")
    hints = _hints(cls)
    names = {f.name for f in fields(cls)}  # type: ignore[arg-type]  # every caller gives a dataclass
    unknown = sorted(set(data) - names)
    if unknown:
        raise BrokenDossier(f"{where} has an unknown field {unknown[0]!r}")
    values = {name: _value(hints[name], value, f"{where}.{name}") for name, value in data.items()}
    try:
        return cls(**values)
    except TypeError as error:
        raise BrokenDossier(f"{where}: {error}") from error


def _value(hint: Any, value: Any, where: str) -> Any:
    origin = get_origin(hint)
    if origin in {Union, types.UnionType}:
        if value is None:
            return None
        inner = [option for option in get_args(hint) if option is not type(None)]
        return _value(inner[0], value, where) if len(inner) == 1 else value
    if origin is tuple:
        options = get_args(hint)
        if not isinstance(value, list | tuple):
            raise BrokenDossier(f"{where} is not a list")
        if len(options) == 2 and options[1] is Ellipsis:
            return tuple(_value(options[0], v, f"{where}[{i}]") for i, v in enumerate(value))
        return tuple(
            _value(o, v, f"{where}[{i}]")
            for i, (o, v) in enumerate(zip(options, value, strict=True))
        )
    if is_dataclass(hint) and isinstance(hint, type):
        return decode(hint, value, where=where)
    return _plain(hint, value, where)


def _plain(hint: Any, value: Any, where: str) -> Any:
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if hint in {int, float, str, bool} and type(value) is not hint:
        raise BrokenDossier(f"{where} is {value!r}, not a value of type {hint.__name__}")
    return value
