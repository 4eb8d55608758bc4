"""The child process that meets a stranger's picture or PDF: limits itself, decodes, answers.

Started as ``python -m projectsite.core.pictures.child``. Standard input holds one line of JSON
and then the file; standard output one line of JSON and then the pictures. Whatever the file
does to this process, the web process only sees it end.
"""

from __future__ import annotations

import io
import json
import resource
import struct
import sys
import warnings
from datetime import datetime
from typing import Any

from PIL import ExifTags, Image, UnidentifiedImageError

from projectsite.core.pictures.types import (
    CHILD_CPU_S,
    CHILD_MEMORY_BYTES,
    LONG_SIDE_PX,
    MAX_PIXELS,
    THUMBNAIL_PX,
)

FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
Answer = tuple[dict[str, Any], list[bytes]]


class Refused(Exception):
    """The file is not taken; the message is for the person who sent it."""


def limit_resources() -> None:
    """Bound memory, processor time and core dumps of this process, once and for good."""
    for kind, value in (
        (resource.RLIMIT_AS, CHILD_MEMORY_BYTES),
        (resource.RLIMIT_CPU, CHILD_CPU_S),
        (resource.RLIMIT_CORE, 0),
    ):
        ceiling = resource.getrlimit(kind)[1]
        limit = value if ceiling == resource.RLIM_INFINITY else min(value, ceiling)
        resource.setrlimit(kind, (limit, limit))


def opened(content: bytes) -> Image.Image:
    """Open a picture without unpacking it; only the formats that we store are tried."""
    # The library only warns between its limit and twice that; ours is a limit.
    warnings.simplefilter("error", Image.DecompressionBombWarning)
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS
    try:
        picture = Image.open(io.BytesIO(content), formats=tuple(FORMATS))
    except UnidentifiedImageError as error:
        raise Refused(_NO_PICTURE) from error
    except (OSError, SyntaxError, ValueError, struct.error) as error:
        # Its first bytes are those of a picture and what follows is not.
        raise Refused(_NO_PICTURE) from error
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Refused(_TOO_LARGE) from error
    if picture.width * picture.height > MAX_PIXELS:
        raise Refused(_TOO_LARGE)
    return picture


_NO_PICTURE = "This is not a JPEG, PNG or WebP picture, or it is damaged."
_TOO_LARGE = (
    f"The picture has more than {MAX_PIXELS // 1_000_000} million pixels. Send a smaller one."
)


def _loaded(picture: Image.Image) -> Image.Image:
    try:
        picture.load()
    except (OSError, SyntaxError, ValueError) as error:
        raise Refused("The picture is cut off or damaged. Take or export it again.") from error
    return picture


def photo(content: bytes) -> Answer:
    """Turn a photo upright, take position and time out of it, and make its small copy."""
    picture = opened(content)
    # Phones store several pictures in one JPEG file (CIPA DC-007); the first is the photo.
    kind = "JPEG" if picture.format == "MPO" else picture.format or ""
    if kind == "JPEG":
        picture.draft("RGB", (LONG_SIDE_PX, LONG_SIDE_PX))
    facts, turn = _camera_facts(picture)
    upright = _turned(_loaded(picture), turn)
    upright.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    has_alpha = kind != "JPEG" and upright.mode in {"RGBA", "LA", "P", "PA"}
    whole = upright.convert("RGBA" if has_alpha else "RGB")
    facts |= {"width_px": whole.width, "height_px": whole.height, "media_type": FORMATS[kind]}
    # A picture made anew from the pixels carries nothing else along.
    small = Image.new("RGB", whole.size, "white")
    small.paste(whole, mask=whole.getchannel("A") if has_alpha else None)
    small.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
    return facts, [_written(whole, kind), _written(small, "JPEG")]


def _written(picture: Image.Image, kind: str) -> bytes:
    out = io.BytesIO()
    bare = Image.new(picture.mode, picture.size)
    bare.paste(picture)
    options: dict[str, Any] = {"PNG": {"optimize": True}}.get(kind, {"quality": 85})
    bare.save(out, kind, **options)
    return out.getvalue()


def _camera_facts(picture: Image.Image) -> tuple[dict[str, Any], int]:
    """Time, position and orientation value; damaged Exif data says nothing."""
    try:
        exif = picture.getexif()
        facts = {"taken_at": _taken_at(exif), **_position(exif)}
        turn = exif.get(ExifTags.Base.Orientation, 1)
    except (OSError, SyntaxError, ValueError, TypeError, LookupError, struct.error):
        return {"taken_at": "", "latitude_deg": None, "longitude_deg": None}, 1
    return facts, turn if isinstance(turn, int) else 1


def _turned(picture: Image.Image, orientation: int) -> Image.Image:
    """Turn a picture upright (Exif 2.32, tag 274); other values than 1 to 8 mean nothing."""
    turn = _TURNS.get(orientation)
    return picture if turn is None else picture.transpose(turn)


_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def _taken_at(exif: Image.Exif) -> str:
    """Read DateTimeOriginal with OffsetTimeOriginal, else DateTime (Exif 2.32, tags 36867 ff.)."""
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    for holder, tag, offset_tag in (
        (inner, ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
        (exif, ExifTags.Base.DateTime, ExifTags.Base.OffsetTime),
    ):
        text = str(holder.get(tag, "")).strip("\0 ")
        offset = str(inner.get(offset_tag, "")).strip("\0 ")
        for pattern, value in (("%Y:%m:%d %H:%M:%S%z", text + offset), ("%Y:%m:%d %H:%M:%S", text)):
            try:
                return datetime.strptime(value, pattern).isoformat()  # noqa: DTZ007  # the camera's own clock
            except ValueError:
                continue
    return ""


def _position(exif: Image.Exif) -> dict[str, float | None]:
    """Read the position (Exif 2.32, GPS tags 1 to 4: degrees, minutes, seconds and side)."""
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    latitude = _degrees(gps, ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLatitudeRef, "NS", 90)
    longitude = _degrees(gps, ExifTags.GPS.GPSLongitude, ExifTags.GPS.GPSLongitudeRef, "EW", 180)
    if latitude is None or longitude is None:
        return {"latitude_deg": None, "longitude_deg": None}
    return {"latitude_deg": latitude, "longitude_deg": longitude}


def _degrees(gps: Any, tag: int, side_tag: int, sides: str, limit: float) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in gps[tag])
        side = str(gps[side_tag]).strip("\0 ").upper()
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    # Without its side a position could lie on the other half of the globe.
    if not 0 <= value <= limit or side not in tuple(sides):
        return None
    return -value if side == sides[1] else value


def plan(content: bytes, number: int) -> Answer:
    """Draw a page of a PDF, or take a picture, as a PNG of a plan."""
    if content[:1024].lstrip().startswith(b"%PDF-"):
        drawn, pages = _page(content, number)
    else:
        if number != 1:
            raise Refused("A picture has one page.")
        picture = opened(content)
        turn = _camera_facts(picture)[1]
        drawn, pages = _turned(_loaded(picture), turn), 1
    drawn.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    paper = Image.new("RGB", drawn.size, "white")
    layer = drawn.convert("RGBA")
    paper.paste(layer, mask=layer.getchannel("A"))
    return (
        {"width_px": paper.width, "height_px": paper.height, "pages": pages},
        [_written(paper, "PNG")],
    )


def _page(content: bytes, number: int) -> tuple[Image.Image, int]:
    # Loaded only for a PDF: photos are most of what comes here.
    import pypdfium2  # noqa: PLC0415  # see above

    try:
        document = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError as error:
        if "password" in str(error).lower():
            raise Refused("The PDF is locked with a password. Save it without one.") from error
        raise Refused("The PDF is damaged, or is not a PDF. Export the plan again.") from error
    pages = len(document)
    if not 1 <= number <= pages:
        raise Refused(
            f"The PDF has {pages} {'page' if pages == 1 else 'pages'}; there is no page {number}."
        )
    try:
        page = document[number - 1]
        width, height = page.get_size()
        scale = LONG_SIDE_PX / max(width, height, 1.0)
        return page.render(scale=scale).to_pil(), pages
    except (pypdfium2.PdfiumError, ValueError, OSError) as error:
        raise Refused(f"Page {number} of the PDF can't be drawn. Export the plan again.") from error


def main() -> None:
    """Answer the one request on standard input."""
    limit_resources()
    request = json.loads(sys.stdin.buffer.readline())
    content = sys.stdin.buffer.read()
    try:
        facts, pictures = (
            photo(content) if request["do"] == "photo" else plan(content, request["page"])
        )
    except Refused as error:
        facts, pictures = {"refused": str(error)}, []
    out = sys.stdout.buffer
    out.write(json.dumps({**facts, "sizes": [len(picture) for picture in pictures]}).encode())
    out.write(b"\n" + b"".join(pictures))


if __name__ == "__main__":
    main()
