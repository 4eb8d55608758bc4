"""Photos and plan pages from strangers: upright, bare, bounded; what a file is by its content.

Orientation values: Exif 2.3 (CIPA DC-008), 4.6.4, tag 274, as in TIFF 6.0: where row 0 and
column 0 of the stored picture belong. Position: the same, 4.6.6, tags 1 to 4. Published.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from typing import Any

import pikepdf
import pytest
from PIL import ExifTags, Image

from projectsite.core.pictures import PictureError, media_type, photo, plan_picture
from projectsite.core.pictures import child as reader

CORNERS = ((255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 0))
"""Upper left, upper right, lower left, lower right of the scene: red, green, blue, yellow."""

STORED = {
    1: (0, 1, 2, 3),
    2: (1, 0, 3, 2),
    3: (3, 2, 1, 0),
    4: (2, 3, 0, 1),
    5: (0, 2, 1, 3),
    6: (1, 3, 0, 2),
    7: (3, 1, 2, 0),
    8: (2, 0, 3, 1),
}
"""By orientation value: the corner of the scene that the stored picture shows at its upper left,
upper right, lower left and lower right. The standard says where row 0 and column 0 belong: 1 top
and left, 2 top and right, 3 bottom and right, 4 bottom and left, 5 left and top, 6 right and top,
7 right and bottom, 8 left and bottom."""


def scene(order: tuple[int, ...] = (0, 1, 2, 3), size: tuple[int, int] = (64, 32)) -> Image.Image:
    """Four quarters in these colours."""
    picture = Image.new("RGB", size)
    wide, high = size[0] // 2, size[1] // 2
    for place, corner in enumerate(order):
        left, top = wide * (place % 2), high * (place // 2)
        picture.paste(CORNERS[corner], (left, top, left + wide, top + high))
    return picture


def as_file(picture: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    """Give a picture as a file."""
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def exif_of(orientation: int = 1, **more: Any) -> Image.Exif:
    """Give Exif data with an orientation and, when given, position and time."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Brown Paper"
    for ifd, values in more.items():
        exif.get_ifd(ExifTags.IFD[ifd]).update(values)
    return exif


def seen(content: bytes) -> tuple[tuple[int, int], list[int]]:
    """Size of a picture, and which corner of the scene each of its quarters shows."""
    picture = Image.open(io.BytesIO(content)).convert("RGB")
    found = []
    for y in (picture.height // 4, 3 * picture.height // 4):
        for x in (picture.width // 4, 3 * picture.width // 4):
            pixel: Any = picture.getpixel((x, y))
            apart = [
                sum(abs(a - b) for a, b in zip(pixel, corner, strict=True)) for corner in CORNERS
            ]
            found.append(apart.index(min(apart)))
    return picture.size, found


def request(content: bytes) -> tuple[dict[str, Any], list[bytes]]:
    """Ask the reader in this process: the limits of the child have tests of their own."""
    return reader.photo(content)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_is_turned_upright(orientation: int) -> None:
    size = (64, 32) if orientation < 5 else (32, 64)
    stored = scene(STORED[orientation], size)
    facts, (whole, small) = request(as_file(stored, exif=exif_of(orientation), quality=95))
    assert (facts["width_px"], facts["height_px"]) == (64, 32)
    assert seen(whole) == ((64, 32), [0, 1, 2, 3])
    assert seen(small) == ((64, 32), [0, 1, 2, 3])


@pytest.mark.parametrize(("north_south", "latitude"), [("N", 39.7425), ("S", -39.7425)])
@pytest.mark.parametrize(("east_west", "longitude"), [("E", 104.9875), ("W", -104.9875)])
def test_the_position_is_read_in_every_quarter_of_the_globe(
    north_south: str, latitude: float, east_west: str, longitude: float
) -> None:
    gps = {1: north_south, 2: (39.0, 44.0, 33.0), 3: east_west, 4: (104.0, 59.0, 15.0)}
    facts, _ = request(as_file(scene(), exif=exif_of(GPSInfo=gps)))
    assert facts["latitude_deg"] == pytest.approx(latitude, abs=1e-9)
    assert facts["longitude_deg"] == pytest.approx(longitude, abs=1e-9)


@pytest.mark.parametrize(
    "gps",
    [
        {2: (39.0, 44.0, 33.0), 3: "E", 4: (104.0, 59.0, 15.0)},
        {1: "N", 2: (91.0, 0.0, 0.0), 3: "E", 4: (104.0, 59.0, 15.0)},
        {1: "N", 2: (39.0, 44.0, 33.0)},
        {1: "X", 2: (39.0, 44.0, 33.0), 3: "E", 4: (104.0, 59.0, 15.0)},
    ],
)
def test_half_a_position_is_none(gps: dict[int, Any]) -> None:
    facts, _ = request(as_file(scene(), exif=exif_of(GPSInfo=gps)))
    assert (facts["latitude_deg"], facts["longitude_deg"]) == (None, None)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ({36867: "2026:11:25 14:05:09", 36881: "-07:00"}, "2026-11-25T14:05:09-07:00"),
        ({36867: "2026:11:25 14:05:09"}, "2026-11-25T14:05:09"),
        ({36867: "0000:00:00 00:00:00"}, ""),
        ({}, ""),
    ],
)
def test_the_time_is_read_as_the_camera_wrote_it(written: dict[int, str], said: str) -> None:
    facts, _ = request(as_file(scene(), exif=exif_of(Exif=written)))
    assert facts["taken_at"] == said


@pytest.mark.parametrize(
    ("kind", "options"),
    [("JPEG", {"comment": b"secret"}), ("PNG", {}), ("WEBP", {"xmp": b"<x>secret</x>"})],
)
def test_nothing_of_what_the_camera_wrote_is_kept(kind: str, options: dict[str, Any]) -> None:
    gps = {1: "N", 2: (39.0, 44.0, 33.0), 3: "W", 4: (104.0, 59.0, 15.0)}
    sent = as_file(scene(), kind, exif=exif_of(6, GPSInfo=gps), **options) + b"secret trailer"
    taken = photo(sent)
    assert taken.latitude_deg == pytest.approx(39.7425)
    assert taken.media_type == f"image/{kind.lower()}"
    for stored in (taken.content, taken.thumbnail):
        assert not Image.open(io.BytesIO(stored)).getexif()
        assert not [mark for mark in (b"Exif", b"secret", b"Brown Paper") if mark in stored]


def test_a_file_with_several_pictures_gives_the_first() -> None:
    sent = as_file(scene(), "MPO", save_all=True, append_images=[scene((3, 2, 1, 0))])
    facts, (whole, _) = request(sent)
    assert facts["media_type"] == "image/jpeg"
    assert seen(whole)[1] == [0, 1, 2, 3]


def test_damaged_camera_data_does_not_cost_the_photo() -> None:
    taken = photo(as_file(scene(), exif=b"Exif\0\0MM\0*\0\0\xff\xff garbage"))
    assert taken.taken_at == ""
    assert seen(taken.content)[1] == [0, 1, 2, 3]


def png_of_size(width: int, height: int) -> bytes:
    """Give a small PNG file that says it is this large."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    data = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


LOCKED = io.BytesIO()
with pikepdf.new() as _made:
    _made.add_blank_page(page_size=(200, 100))
    _made.save(LOCKED, encryption=pikepdf.Encryption(owner="o", user="u"))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"<html><script>alert(1)</script>", "not a JPEG"),
        (b"\xff\xd8\xff\xe0<html><script>alert(1)</script></html>", "not a JPEG"),
        (b"\0\0\0\x18ftypheic" + bytes(40), "HEIC"),
        (as_file(scene(size=(640, 480)))[:900], "cut off"),
        (png_of_size(60_000, 60_000), "50 million pixels"),
        (png_of_size(9_000, 6_000), "50 million pixels"),
        (as_file(scene(), "GIF"), "not a JPEG"),
        (as_file(scene(), "TIFF"), "not a JPEG"),
    ],
)
def test_what_is_no_photo_is_refused_in_words(content: bytes, words: str) -> None:
    with pytest.raises(PictureError, match=words):
        photo(content)


def pdf(pages: int = 2) -> bytes:
    """Give a PDF with blank pages, 200 by 100 points."""
    out = io.BytesIO()
    with pikepdf.new() as made:
        for _ in range(pages):
            made.add_blank_page(page_size=(200, 100))
        made.save(out)
    return out.getvalue()


def test_a_page_of_a_pdf_is_drawn() -> None:
    page = plan_picture(pdf(), 2)
    assert (page.width_px, page.height_px, page.pages) == (3000, 1500, 2)
    assert page.content.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("content", "page", "words"),
    [
        (pdf(), 3, "no page 3"),
        (pdf()[:60], 1, "damaged"),
        (LOCKED.getvalue(), 1, "password"),
        (b"%PDF-1.7 and nothing else", 1, "damaged"),
        (as_file(scene()), 2, "one page"),
    ],
)
def test_a_plan_that_cannot_be_drawn_is_refused_in_words(
    content: bytes, page: int, words: str
) -> None:
    with pytest.raises(PictureError, match=words):
        plan_picture(content, page)


def zipped(*names: str) -> bytes:
    """Give an archive with these members."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    return out.getvalue()


OFFICE = "application/vnd.openxmlformats-officedocument"


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (as_file(scene()), "image/jpeg"),
        (as_file(scene(), "PNG"), "image/png"),
        (as_file(scene(), "WEBP"), "image/webp"),
        (pdf(), "application/pdf"),
        (zipped("xl/workbook.xml"), f"{OFFICE}.spreadsheetml.sheet"),
        (zipped("word/document.xml"), f"{OFFICE}.wordprocessingml.document"),
        ("tag,flow\nTU-1,450 m³/h\n".encode(), "text/plain"),
    ],
)
def test_a_file_is_what_its_content_says(content: bytes, kind: str) -> None:
    assert media_type(content) == kind


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n <svg xmlns='http://www.w3.org/2000/svg'/>",
        b"\xef\xbb\xbf<html>",
        zipped("run.exe"),
        b"PK\x03\x04 cut",
        b"MZ\x90\0",
        b"text with \0 in it",
        "latin £".encode("latin-1"),
    ],
)
def test_other_files_are_refused(content: bytes) -> None:
    with pytest.raises(PictureError):
        media_type(content)
