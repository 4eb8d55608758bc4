"""What pictures are, their limits, and the refusal. Standard library only: the child reads it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from projectsite.core.errors import InvalidInput

MAX_PIXELS: Final = 50_000_000
"""Pixels of a picture that is taken in; larger ones are refused before they are unpacked."""
LONG_SIDE_PX: Final = 3000
"""Long side of a stored photo or plan page."""
THUMBNAIL_PX: Final = 360
CHILD_MEMORY_BYTES: Final = 1536 * 1024**2
CHILD_CPU_S: Final = 20
CHILD_WALL_S: Final = 60


class PictureError(InvalidInput):
    """A picture or a file that can't be taken as it is; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo, upright and without what the camera wrote into it.

    Attributes
    ----------
    content, thumbnail
        The picture and its small copy, in ``media_type`` and JPEG.
    taken_at
        When it was taken, as the camera wrote it (ISO 8601, with an offset when the camera
        knew one); "" when unknown.
    latitude_deg, longitude_deg
        Where it was taken [-90 to 90, -180 to 180], None when unknown.
    """

    content: bytes
    thumbnail: bytes
    media_type: str
    width_px: int
    height_px: int
    taken_at: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A page of a plan as a PNG picture, and how many pages the file has."""

    content: bytes
    width_px: int
    height_px: int
    pages: int
