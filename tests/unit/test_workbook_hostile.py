"""Files made to break the reader: each gets one plain sentence, quickly, and nothing dies."""

import resource
import struct
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from projectsite.core.workbook import WorkbookError, list_sheets, read, read_sheet, types
from tests.unit.hostile import (
    PACKAGE_LINKS,
    make_xlsx,
    number,
    pack,
    sheet_xml,
    text,
)

# Generous guards on a busy machine; the reference workstation answers each in under 2 s.
LONGEST_S = 20.0
LARGEST_GROWTH_KB = 200 * 1024


@contextmanager
def bounded() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.monotonic()
    yield
    assert time.monotonic() - start < LONGEST_S
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < LARGEST_GROWTH_KB


def refusal(content: bytes) -> str:
    with bounded(), pytest.raises(WorkbookError) as caught:
        read_sheet(content)
    assert caught.value.message.endswith(".")
    return caught.value.message


@pytest.mark.parametrize("reference", ["XFD1048576", "A1048576", "XFD1"])
def test_far_cell_is_named(reference: str) -> None:
    row = reference.lstrip("XFDA")
    content = make_xlsx(f'<row r="{row}">{number(reference, 1)}</row>')
    assert len(content) < 2000
    assert f"cell {reference}" in refusal(content)


def test_styled_but_empty_far_cell_is_no_obstacle() -> None:
    rows = f'<row r="1">{number("A1", 5)}</row><row r="1048576"><c r="XFD1048576" s="0"/></row>'
    assert read_sheet(make_xlsx(rows)).rows == [[5.0]]


def test_false_dimension_is_not_believed() -> None:
    part = sheet_xml(f'<row r="1">{number("A1", 5)}</row>').replace(
        "<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>'
    )
    assert read_sheet(make_xlsx(**{"xl/worksheets/sheet1.xml": part})).rows == [[5.0]]


def test_wide_and_long_within_limits_is_refused_by_area() -> None:
    rows = f'<row r="1">{number("OJ1", 1)}</row><row r="50000">{number("A50000", 1)}</row>'
    assert "50,000 rows by 400 columns" in refusal(make_xlsx(rows))


def test_two_hundred_thousand_rows_are_counted() -> None:
    rows = "".join(
        f'<row r="{i}">{text(f"A{i}", f"VAV-{i}")}{number(f"B{i}", i * 7 % 1000)}</row>'
        for i in range(1, 200_001)
    )
    message = refusal(make_xlsx(rows))
    assert "200,000 rows" in message
    assert "50,000" in message


def test_bomb_by_ratio_is_refused_before_unpacking() -> None:
    part = sheet_xml(" " * 50_000_000)
    content = make_xlsx(**{"xl/worksheets/sheet1.xml": part})
    assert len(content) < 100_000
    message = refusal(content)
    assert "xl/worksheets/sheet1.xml" in message
    assert "times its packed size" in message


def test_bomb_in_the_text_table_is_refused() -> None:
    strings = f'<sst xmlns="x"><si><t>{"a" * 50_000_000}</t></si></sst>'
    assert "xl/sharedStrings.xml" in refusal(make_xlsx(**{"xl/sharedStrings.xml": strings}))


def test_bomb_with_understated_size_is_refused() -> None:
    """The directory says 1 kB; the packed stream goes on for 50 MB."""
    content = bytearray(make_xlsx(**{"xl/worksheets/sheet1.xml": sheet_xml(" " * 50_000_000)}))
    directory = content.rindex(b"xl/worksheets/sheet1.xml") - 46
    assert content[directory : directory + 4] == b"PK\x01\x02"
    struct.pack_into("<I", content, directory + 24, 1000)
    assert "damaged" in refusal(bytes(content))


def test_bomb_by_number_of_parts_is_refused() -> None:
    parts = {f"xl/media/{i}.bin": b"" for i in range(3000)}
    assert "3,005 parts" in refusal(make_xlsx(**parts))


def test_total_unpacked_size_is_bounded() -> None:
    content = bytearray(make_xlsx(**{"xl/a.xml": b"a" * 10, "xl/b.xml": b"b" * 10}))
    for name in (b"xl/a.xml", b"xl/b.xml"):
        directory = content.rindex(name) - 46
        # A made-up packed size keeps the ratio harmless, so that only the sum is at fault.
        struct.pack_into("<II", content, directory + 20, 10_000_000, 300_000_000)
    assert "572 MB" in refusal(bytes(content))


def test_one_long_text_used_by_every_cell_stays_in_the_child() -> None:
    """Half a megabyte shared by 20,000 cells asks the reader for 10 GB."""
    long = "".join(f"{i:x}" for i in range(110_000))
    strings = (
        '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        f"<si><t>{long}</t></si></sst>"
    )
    rows = "".join(f'<row r="{i}"><c r="A{i}" t="s"><v>0</v></c></row>' for i in range(1, 20_001))
    links = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type='
        '"http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"'
        ' Target="sharedStrings.xml"/></Relationships>'
    )
    content = make_xlsx(
        rows, **{"xl/sharedStrings.xml": strings, "xl/_rels/workbook.xml.rels": links}
    )
    assert "memory" in refusal(content)


ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY f SYSTEM "file:///etc/passwd">]>'
)


@pytest.mark.parametrize(
    "part", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml"]
)
def test_document_type_is_refused(part: str) -> None:
    body = sheet_xml(f'<row r="1">{text("A1", "&c;&f;")}</row>', prolog=ENTITIES)
    message = refusal(make_xlsx(number("A1", 1), **{part: body}))
    assert part in message
    assert "DTD" in message


def test_truncated_archive_is_refused() -> None:
    content = make_xlsx(f'<row r="1">{number("A1", 1)}</row>')
    assert "cut short or damaged" in refusal(content[: len(content) // 2])


def test_damaged_part_is_refused() -> None:
    content = bytearray(make_xlsx(f'<row r="1">{number("A1", 1)}</row>'))
    start = content.index(b"xl/worksheets/sheet1.xml") + 30
    content[start : start + 8] = b"\xff" * 8
    assert "xl/worksheets/sheet1.xml" in refusal(bytes(content))


def test_malformed_sheet_is_refused_with_its_line() -> None:
    message = refusal(make_xlsx(**{"xl/worksheets/sheet1.xml": "<worksheet><sheetData><row>"}))
    assert "not well formed (line 1)" in message


def test_part_twice_is_refused() -> None:
    import io  # noqa: PLC0415  # only this test appends to an archive

    stream = io.BytesIO(make_xlsx(number("A1", 1)))
    with (
        zipfile.ZipFile(stream, "a") as archive,
        pytest.warns(UserWarning, match="Duplicate name"),
    ):
        archive.writestr("xl/worksheets/sheet1.xml", sheet_xml(""))
    assert "twice" in refusal(stream.getvalue())


def test_contents_in_a_place_that_is_not_there_are_refused() -> None:
    links = PACKAGE_LINKS.replace("xl/workbook.xml", "xl/other.xml")
    assert "'xl/other.xml'" in refusal(make_xlsx(**{"_rels/.rels": links}))


def test_impossible_cell_name_is_refused() -> None:
    assert "impossible name" in refusal(make_xlsx(f'<row r="1">{number("1A", 1)}</row>'))


def test_impossible_row_number_is_refused() -> None:
    assert "impossible number" in refusal(make_xlsx('<row r="-1"/>'))


OLE = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(504)


@pytest.mark.parametrize(
    ("stream", "said"),
    [
        ("EncryptedPackage", "protected with a password"),
        ("Workbook", "old workbook (.xls)"),
        ("WordDocument", "not a workbook"),
    ],
)
def test_compound_document_is_told_by_its_streams(stream: str, said: str) -> None:
    assert said in refusal(OLE + stream.encode("utf-16-le") + bytes(512))


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("content.xml", "OpenDocument"),
        ("word/document.xml", "text document"),
        ("xl/workbook.bin", "binary workbook"),
        ("photo.jpg", "no workbook"),
    ],
)
def test_archive_of_another_kind_is_refused(part: str, said: str) -> None:
    assert said in refusal(pack({part: "x"}))


def test_empty_file_is_refused() -> None:
    assert "0 bytes" in refusal(b"")


def test_too_large_file_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(read, "MAX_FILE_BYTES", 1024 * 1024)
    monkeypatch.setattr(read, "_ask", lambda *_: pytest.fail("the child was started"))
    assert "at most 1 MB" in refusal(b"x" * (1024 * 1024 + 1))


def test_empty_sheet_is_refused_by_name() -> None:
    assert "'Schedule' is empty" in refusal(make_xlsx())


def test_unknown_sheet_is_refused_with_the_choice() -> None:
    with pytest.raises(WorkbookError, match=r"'Plan'.*'Schedule'"):
        read_sheet(make_xlsx(number("A1", 1)), "Plan")


def test_slow_child_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(read, "CHILD_WALL_S", 0.001)
    assert "too long" in refusal(make_xlsx(number("A1", 1)))


def test_parent_outlives_every_kind_of_end(monkeypatch: pytest.MonkeyPatch) -> None:
    class Ended:
        returncode = -11
        stdout = b""
        stderr = b""

    monkeypatch.setattr(
        "projectsite.core.workbook.read.subprocess.run", lambda *_args, **_kwargs: Ended
    )
    assert "the reader stopped on it" in refusal(b"a,b")


def test_a_far_cell_would_abort_an_unguarded_reader() -> None:
    """The control: without the pre-scan the reader dies of this file, in a child of its own."""
    import subprocess  # noqa: PLC0415  # only this test starts a process of its own
    import sys  # noqa: PLC0415

    content = make_xlsx(f'<row r="1048576">{number("XFD1048576", 1)}</row>')
    program = (
        "import io, sys\n"
        "from projectsite.core.workbook import child\n"
        "child.limit_resources()\n"
        "book = child.CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read()))\n"
        "book.get_sheet_by_name('Schedule').to_python(skip_empty_area=False)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        input=content,
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert done.returncode != 0


def test_list_of_sheets_survives_the_same_files() -> None:
    far = make_xlsx(f'<row r="1048576">{number("XFD1048576", 1)}</row>')
    with bounded(), pytest.raises(WorkbookError):
        list_sheets(far)
    assert types.MAX_ROWS < 1048576
