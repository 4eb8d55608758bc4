"""Floor plans for tests, and pictures and PDFs made by code."""

from __future__ import annotations

import struct
import zlib
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from projectsite.accounts.models import Project, User
from tests.builders.accounts import AT
from zones.work.models import FloorPlan


def png_plan(width: int = 200, height: int = 100) -> bytes:
    """A white picture with a black frame."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        checked = kind + content
        return struct.pack(">I", len(content)) + checked + struct.pack(">I", zlib.crc32(checked))

    edge = b"\0" + b"\0" * width
    row = b"\0\0" + b"\xff" * (width - 2) + b"\0"
    lines = edge + row * (height - 2) + edge
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(lines))
        + chunk(b"IEND", b"")
    )


def pdf_plan(pages: int = 2) -> bytes:
    """A PDF of landscape pages, 200 by 100 points, with a frame on each."""
    drawn = b"10 10 180 80 re S"
    kids = " ".join(f"{4 + i} 0 R" for i in range(pages))
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        f"<</Type/Pages/Kids[{kids}]/Count {pages}>>".encode(),
        b"<</Length %d>>stream\n%s\nendstream" % (len(drawn), drawn),
        *[b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 200 100]/Contents 3 0 R>>"] * pages,
    ]
    body, places = b"%PDF-1.4\n", []
    for number, content in enumerate(objects, start=1):
        places.append(len(body))
        body += b"%d 0 obj%s endobj\n" % (number, content)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    count = len(objects) + 1
    return (
        body
        + b"xref\n0 %d\n0000000000 65535 f \n%s" % (count, table)
        + b"trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF" % (count, len(body))
    )


def make_plan(project: Project, by: User, floor: str = "2", **overrides: Any) -> FloorPlan:
    """Store a plan of 200 by 100 pixels of 0.1 m, its origin in the lower left corner."""
    values: dict[str, Any] = {
        "name": "M-102",
        "file_name": "floor.png",
        "sha256": "0" * 64,
        "width_px": 200,
        "height_px": 100,
        "first_x_px": 0.0,
        "first_y_px": 50.0,
        "second_x_px": 100.0,
        "second_y_px": 50.0,
        "distance_m": 10.0,
        "origin_x_px": 0.0,
        "origin_y_px": 100.0,
        "entered": {"distance_m": "10 m"},
        "created_by": by,
        "created_at": AT,
    }
    if "image" not in overrides:
        name = default_storage.save("plans/test.png", ContentFile(png_plan()))
        values |= {"image": name, "file": name}
    return FloorPlan.objects.create(project=project, floor=floor, **(values | overrides))
