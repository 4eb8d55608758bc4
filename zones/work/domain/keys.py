"""Keys that are made of names: they name a step or a point for proofs, and stay."""

from __future__ import annotations

import re
from collections.abc import Collection

LENGTH = 60
"""Most characters of a key."""


def new_key(name: str, taken: Collection[str], *, otherwise: str) -> str:
    """Make a key of a name that no other has.

    Parameters
    ----------
    otherwise
        Word for a name without a letter or digit of the Latin alphabet.

    Examples
    --------
    >>> new_key("24 V landed", (), otherwise="step")
    '24-v-landed'
    >>> new_key("Box hung", {"box-hung", "box-hung-2"}, otherwise="step")
    'box-hung-3'
    >>> new_key("…", (), otherwise="step")
    'step'
    """
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
    stem = plain[: LENGTH - 4].strip("-") or otherwise
    key, number = stem, 1
    while key in taken:
        number += 1
        key = f"{stem}-{number}"
    return key
