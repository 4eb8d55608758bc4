"""Opens the archive of an XLSX workbook without trusting a word of it.

Sizes are checked in the directory before anything is unpacked, and again while unpacking,
because the reader behind us unpacks to the end of the stream whatever the directory says.
"""

import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from xml.parsers import expat

from projectsite.core.workbook.types import (
    MAX_ARCHIVE_ENTRIES,
    MAX_INFLATED_BYTES,
    MAX_RATIO,
    MAX_SHEETS,
    RATIO_FLOOR_BYTES,
    WorkbookError,
)

CHUNK_BYTES: Final = 256 * 1024
WORKBOOK_PART: Final = "xl/workbook.xml"
LAST_PIECE: Final = True
"""Tells the XML parser that nothing follows."""
OLE_SIGNATURE: Final = bytes.fromhex("d0cf11e0a1b11ae1")
ZIP_SIGNATURES: Final = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
_LOCAL_HEADER: Final = struct.Struct("<4s5H3L2H")
_MEGABYTE: Final = 1024 * 1024


def refuse_ole(path: Path) -> None:
    """Refuse a compound document, telling a password-protected workbook from an old one."""
    content = path.read_bytes()
    if "EncryptedPackage".encode("utf-16-le") in content:
        raise WorkbookError(
            "The workbook is protected with a password. Remove the password in your spreadsheet"
            " program (save a copy without one), then upload the copy."
        )
    if any(name.encode("utf-16-le") in content for name in ("Workbook", "Book")):
        raise WorkbookError(
            "The file is an old workbook (.xls). Open it in your spreadsheet program, save it as"
            " .xlsx or .csv, then upload that file."
        )
    raise WorkbookError(
        "The file is an office document, but not a workbook. Upload an .xlsx workbook or a .csv"
        " file."
    )


class Archive:
    """The parts of one XLSX file, each unpacked in bounded pieces."""

    def __init__(self, path: Path) -> None:
        """Check the directory of the archive; raises WorkbookError with the first fault."""
        self._path = path
        try:
            with zipfile.ZipFile(path) as archive:
                entries = archive.infolist()
        except (
            zipfile.BadZipFile,
            NotImplementedError,
            ValueError,
            OverflowError,
            OSError,
        ) as error:
            raise WorkbookError(
                "The file begins like a workbook but is cut short or damaged. Open it in your"
                " spreadsheet program, save it again, then upload the new file."
            ) from error
        if len(entries) > MAX_ARCHIVE_ENTRIES:
            raise WorkbookError(
                f"The workbook has {len(entries):,} parts inside; at most {MAX_ARCHIVE_ENTRIES:,}"
                " are accepted. Copy the schedule into a new workbook and upload that."
            )
        self._entries: dict[str, zipfile.ZipInfo] = {}
        for entry in entries:
            key = entry.filename.lstrip("/").casefold()
            if key in self._entries:
                raise WorkbookError(
                    f"The workbook holds the part {entry.filename!r} twice, so it is not clear"
                    " which one counts. Save it again in your spreadsheet program, then upload"
                    " the new file."
                )
            self._entries[key] = entry
        self._check_kind()
        self._check_sizes(entries)

    def _check_kind(self) -> None:
        if any(entry.flag_bits & 0x1 for entry in self._entries.values()):
            raise WorkbookError(
                "The archive is protected with a password. Upload the workbook itself, without one."
            )
        if any(key.startswith("xl/") and key.endswith(".xml") for key in self._entries):
            return
        if "xl/workbook.bin" in self._entries:
            kind = "a binary workbook (.xlsb)"
        elif "content.xml" in self._entries:
            kind = "an OpenDocument file"
        elif "word/document.xml" in self._entries:
            kind = "a text document (.docx)"
        else:
            kind = "an archive that holds no workbook"
        raise WorkbookError(
            f"The file is {kind}. Save the schedule as .xlsx or .csv, then upload that file."
        )

    def _check_sizes(self, entries: list[zipfile.ZipInfo]) -> None:
        total = 0
        for entry in entries:
            if not entry.filename.casefold().endswith((".xml", ".rels")):
                continue
            total += entry.file_size
            packed = max(entry.compress_size, 1)
            if entry.file_size > RATIO_FLOOR_BYTES and entry.file_size / packed > MAX_RATIO:
                raise WorkbookError(
                    f"The part {entry.filename!r} of the workbook would unpack to"
                    f" {entry.file_size / _MEGABYTE:,.0f} MB, {entry.file_size // packed:,} times"
                    f" its packed size; at most {MAX_RATIO} times is accepted. Copy the schedule"
                    " into a new workbook and upload that."
                )
        if total > MAX_INFLATED_BYTES:
            raise WorkbookError(
                f"The workbook would unpack to {total / _MEGABYTE:,.0f} MB; at most"
                f" {MAX_INFLATED_BYTES / _MEGABYTE:,.0f} MB is accepted. Copy the sheet with the"
                " schedule into a workbook of its own and upload that."
            )

    def has(self, part: str) -> bool:
        """Whether the archive holds this part; upper and lower case count as equal."""
        return part.casefold() in self._entries

    def chunks(self, part: str) -> Iterator[bytes]:
        """Yield the unpacked bytes of a part; refuse one whose true size was not declared."""
        entry = self._entries[part.casefold()]
        damaged = WorkbookError(
            f"The part {entry.filename!r} of the workbook is damaged. Open the workbook in your"
            " spreadsheet program, save it again, then upload the new file."
        )
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise damaged
        seen, checksum = 0, 0
        try:
            for piece in self._raw_chunks(entry):
                seen += len(piece)
                if seen > entry.file_size:
                    raise damaged
                checksum = zlib.crc32(piece, checksum)
                yield piece
        except (zlib.error, struct.error, EOFError) as error:
            raise damaged from error
        if seen != entry.file_size or checksum != entry.CRC:
            raise damaged

    def _raw_chunks(self, entry: zipfile.ZipInfo) -> Iterator[bytes]:
        with self._path.open("rb") as stream:
            stream.seek(entry.header_offset)
            header = _LOCAL_HEADER.unpack(stream.read(_LOCAL_HEADER.size))
            if header[0] != b"PK\x03\x04":
                raise EOFError
            stream.seek(header[9] + header[10], 1)
            left = entry.compress_size
            unpacker = (
                None if entry.compress_type == zipfile.ZIP_STORED else zlib.decompressobj(-15)
            )
            while left:
                packed = stream.read(min(CHUNK_BYTES, left))
                if not packed:
                    raise EOFError
                left -= len(packed)
                if unpacker is None:
                    yield packed
                    continue
                # The output of each step is bounded too: 256 kB of zeros would unpack to 256 MB.
                while packed and not unpacker.eof:
                    piece = unpacker.decompress(packed, CHUNK_BYTES * 4)
                    packed = unpacker.unconsumed_tail
                    if piece:
                        yield piece
            if unpacker is not None and not unpacker.eof:
                tail = unpacker.flush()
                if tail:
                    yield tail
                if not unpacker.eof:
                    raise EOFError


def forbid_document_type(parser: expat.XMLParserType, part: str) -> None:
    """Make the parser refuse a document type: only entity bombs need one."""

    def refuse(*_declaration: object) -> None:
        raise WorkbookError(
            f"The part {part!r} of the workbook declares a document type (DTD), which no"
            " spreadsheet program writes. Copy the schedule into a new workbook and upload that."
        )

    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse


def local_name(name: str) -> str:
    """Return an XML name without its prefix."""
    return name.rpartition(":")[2]


def malformed(part: str, error: expat.ExpatError) -> WorkbookError:
    """Return the refusal for a part that is not well-formed XML."""
    return WorkbookError(
        f"The part {part!r} of the workbook is not well formed (line {error.lineno}). Open the"
        " workbook in your spreadsheet program, save it again, then upload the new file."
    )


def verify_part(archive: Archive, part: str) -> None:
    """Unpack a part that only the reader needs: check its true size, allow no document type."""
    parser = expat.ParserCreate()
    forbid_document_type(parser, part)
    started: list[str] = []
    parser.StartElementHandler = lambda name, _attributes: started.append(name)
    for piece in archive.chunks(part):
        if started:
            continue
        try:
            # A document type can only stand before the first element, so a slice is enough.
            for start in range(0, len(piece), 4096):
                parser.Parse(piece[start : start + 4096])
                if started:
                    break
        except expat.ExpatError as error:
            raise malformed(part, error) from error


class WorkbookParts:
    """Names of the sheets in order, whether hidden, and the part that holds each."""

    def __init__(self, archive: Archive) -> None:
        """Read the workbook's table of contents; raises WorkbookError when it makes no sense."""
        self.sheets: list[tuple[str, str, bool]] = []
        self.calculates_on_load = False
        self._found: list[tuple[str, str, bool]] = []
        self._targets: dict[str, str] = {}
        self._workbook_part = WORKBOOK_PART
        if archive.has("_rels/.rels"):
            _parse(archive, "_rels/.rels", self._on_package_relation)
        if self._workbook_part.casefold() != WORKBOOK_PART or not archive.has(WORKBOOK_PART):
            # The fast reader looks in the usual place only; the two must never read apart.
            raise WorkbookError(
                f"The workbook keeps its contents in {self._workbook_part!r} instead of the usual"
                " place. Save it again in your spreadsheet program, then upload the new file."
            )
        _parse(archive, WORKBOOK_PART, self._on_workbook)
        if archive.has("xl/_rels/workbook.xml.rels"):
            _parse(archive, "xl/_rels/workbook.xml.rels", self._on_relation)
        seen: set[str] = set()
        for name, relation, hidden in self._found:
            part = self._targets.get(relation, "")
            if not archive.has(part) or "/worksheets/" not in part.casefold():
                continue  # A chart or dialogue sheet holds no cells.
            if name.casefold() in seen:
                raise WorkbookError(
                    f"Two sheets of the workbook are named {name!r}. Rename one, then upload again."
                )
            seen.add(name.casefold())
            self.sheets.append((name, part, hidden))
        if not self.sheets:
            raise WorkbookError(
                "The workbook holds no sheet with cells. Upload the schedule itself."
            )
        if len(self.sheets) > MAX_SHEETS:
            raise WorkbookError(
                f"The workbook has {len(self.sheets):,} sheets; at most {MAX_SHEETS} are accepted."
                " Copy the sheet with the schedule into a workbook of its own and upload that."
            )

    def _on_workbook(self, name: str, attributes: dict[str, str]) -> None:
        tag = local_name(name)
        if tag == "sheet":
            relation = next((v for k, v in attributes.items() if local_name(k) == "id"), "")
            hidden = attributes.get("state", "visible") != "visible"
            self._found.append((attributes.get("name", ""), relation, hidden))
        elif tag == "calcPr":
            self.calculates_on_load = attributes.get("fullCalcOnLoad") in ("1", "true")

    def _on_package_relation(self, name: str, attributes: dict[str, str]) -> None:
        if local_name(name) == "Relationship" and attributes.get("Type", "").endswith(
            "/officeDocument"
        ):
            self._workbook_part = attributes.get("Target", "").lstrip("/")

    def _on_relation(self, name: str, attributes: dict[str, str]) -> None:
        if local_name(name) == "Relationship":
            target = attributes.get("Target", "")
            part = target[1:] if target.startswith("/") else f"xl/{target}"
            self._targets[attributes.get("Id", "")] = part


def _parse(archive: Archive, part: str, on_start: object) -> None:
    parser = expat.ParserCreate()
    forbid_document_type(parser, part)
    parser.StartElementHandler = on_start  # type: ignore[assignment]  # typed loosely in typeshed
    try:
        for piece in archive.chunks(part):
            parser.Parse(piece)
        parser.Parse(b"", LAST_PIECE)
    except expat.ExpatError as error:
        raise malformed(part, error) from error
