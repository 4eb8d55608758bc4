"""Photos and files for tests."""

from __future__ import annotations

import io
import uuid
from typing import Any

from PIL import ExifTags, Image

from projectsite.core.scope import Scope
from tests.builders.accounts import AT
from zones.inventory.models import TerminalUnit
from zones.work.models import Attachment
from zones.work.operations.files import add_file


def a_photo(*, with_facts: bool = True, color: str = "teal") -> bytes:
    """Give a small JPEG, taken on its side at 39.7425° N, 104.9875° W at 14:05 without offset."""
    exif = Image.Exif()
    if with_facts:
        exif[ExifTags.Base.Orientation] = 6
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2026:11:25 14:05:00"
        exif.get_ifd(ExifTags.IFD.GPSInfo).update(
            {1: "N", 2: (39.0, 44.0, 33.0), 3: "W", 4: (104.0, 59.0, 15.0)}
        )
    out = io.BytesIO()
    Image.new("RGB", (48, 32), color).save(out, "JPEG", exif=exif)
    return out.getvalue()


def make_file(scope: Scope, unit: TerminalUnit, **overrides: Any) -> Attachment:
    """Store a text file of a unit, as an operation does."""
    values: dict[str, Any] = {
        "kind": "unit",
        "subject_id": unit.pk,
        "content": b"tag,flow\n",
        "file_name": "readings.csv",
        "caption": "",
        "client_key": uuid.uuid4(),
        "at": AT,
    }
    return Attachment.objects.get(id=add_file(scope, **(values | overrides)))
