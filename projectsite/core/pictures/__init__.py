"""Photos and plan pages. The only package that knows Pillow and pypdfium2.

Files come from strangers, so they are decoded in a child process with limited memory and time.
"""

from __future__ import annotations

from projectsite.core.pictures.kinds import PHOTOS, media_type
from projectsite.core.pictures.reading import photo, plan_picture
from projectsite.core.pictures.types import PagePicture, Photo, PictureError

__all__ = [
    "PHOTOS",
    "PagePicture",
    "Photo",
    "PictureError",
    "media_type",
    "photo",
    "plan_picture",
]
