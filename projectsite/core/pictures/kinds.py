"""What a file is, told from its first bytes and never from its name."""

from __future__ import annotations

import io
import zipfile

from projectsite.core.pictures.types import PictureError

_SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_TEXT_DOCUMENT = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"
PHOTOS = frozenset({"image/jpeg", "image/png", "image/webp"})
"""Media types that are kept as photos."""


def media_type(content: bytes) -> str:
    """Tell the media type of a file that may be kept.

    Raises
    ------
    PictureError
        The file is of no kind that is kept; the message names those that are.
    """
    for start, kind in (
        (b"\xff\xd8\xff", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"%PDF-", "application/pdf"),
    ):
        if content.startswith(start):
            return kind
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    if content.startswith(b"PK\x03\x04"):
        return _office_kind(content)
    if _is_text(content):
        return "text/plain"
    raise PictureError(
        "Files of this kind are not kept. Send a JPEG, PNG or WebP photo, a PDF, a workbook "
        "(XLSX), a text document (DOCX) or plain text (CSV, TXT)."
    )


def _office_kind(content: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            names = set(archive.namelist())
    except zipfile.BadZipFile as error:
        raise PictureError("The file is cut off or damaged.") from error
    if "xl/workbook.xml" in names:
        return _SPREADSHEET
    if "word/document.xml" in names:
        return _TEXT_DOCUMENT
    raise PictureError("Archives are not kept. Send the files in it one by one.")


def _is_text(content: bytes) -> bool:
    """Plain text without control characters; markup is refused, whatever it calls itself."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    if not text or text.lstrip().startswith("<"):
        return False
    return all(char >= " " or char in "\t\n\r\f" for char in text)
