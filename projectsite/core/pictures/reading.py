"""Pictures and plan pages as the rest of the program asks for them; a child meets the file."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from projectsite.core.pictures.types import CHILD_WALL_S, PagePicture, Photo, PictureError

log = logging.getLogger(__name__)
_ROOT = Path(__file__).resolve().parents[3]
_OUT_OF_TIME = (-signal.SIGXCPU, -signal.SIGKILL)


def photo(content: bytes) -> Photo:
    """Take a JPEG, PNG or WebP photo in: upright, smaller, without position and time in it.

    Raises
    ------
    PictureError
        It is not such a picture, too large, cut off or damaged.
    """
    if content[4:12] in {b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypheif"}:
        raise PictureError(
            "This photo is in the HEIC format. Choose JPEG (most compatible) in the camera's "
            "settings, or export it as JPEG."
        )
    facts, (whole, small) = _ask(content, {"do": "photo"})
    return Photo(whole, small, **facts)


def plan_picture(content: bytes, page_number: int = 1) -> PagePicture:
    """Draw a page of a PDF, or take a picture, as the ground of a floor plan.

    Raises
    ------
    PictureError
        Neither a PDF nor a picture, locked, damaged, too large, or without that page.
    """
    facts, (whole,) = _ask(content, {"do": "plan", "page": page_number})
    return PagePicture(whole, **facts)


def _ask(content: bytes, request: dict[str, Any]) -> tuple[dict[str, Any], list[bytes]]:
    """Put one request to a fresh child process and return its answer."""
    if not content:
        raise PictureError("The file is empty (0 bytes).")
    try:
        # A new interpreter rather than a fork: safe from any thread, and it shares no memory.
        done = subprocess.run(
            [sys.executable, "-E", "-s", "-m", "projectsite.core.pictures.child"],
            input=json.dumps(request).encode() + b"\n" + content,
            capture_output=True,
            cwd=_ROOT,
            env={"PATH": os.defpath, "PYTHONDONTWRITEBYTECODE": "1"},
            timeout=CHILD_WALL_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise _too_slow() from error
    if done.returncode != 0:
        words = done.stderr[-2000:].decode("utf-8", "replace")
        log.warning("picture reader ended with %s: %s", done.returncode, words)
        if done.returncode in _OUT_OF_TIME:
            raise _too_slow()
        if "MemoryError" in words or done.returncode == -signal.SIGABRT:
            raise PictureError("The file needs more memory than is allowed. Send a smaller one.")
        raise PictureError("The file could not be read: the reader stopped on it.")
    head, _, rest = done.stdout.partition(b"\n")
    facts: dict[str, Any] = json.loads(head)
    if "refused" in facts:
        raise PictureError(facts["refused"])
    pictures = []
    for size in facts.pop("sizes"):
        pictures.append(rest[:size])
        rest = rest[size:]
    return facts, pictures


def _too_slow() -> PictureError:
    return PictureError("The file takes too long to read. Send a simpler or smaller one.")
