"""The three documents as files: text, pages, heads, marks, structure."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pypdf
import pytest

from reports import pdf
from reports.domain.dossier import Dossier
from tests.builders.reports import issued, make_dossier, make_project_data, make_unit_data

LETTER_PT = (612, 792)
"""8.5 × 11 in. (published: ANSI/ASME Y14.1, size A)."""
A4_PT = (595.28, 841.89)
"""210 × 297 mm (published: ISO 216)."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of unit sheets that all tests of this module share."""
    return tmp_path_factory.mktemp("sheets")


@dataclass(frozen=True)
class Paper:
    """A document that was rendered and read back once for all tests, with the text of its pages."""

    reader: pypdf.PdfReader
    texts: list[str]


def read(dossier: Dossier, keep_in: Path) -> Paper:
    """Render a document and read it back."""
    reader = pypdf.PdfReader(BytesIO(pdf.render(dossier, keep_in=keep_in).content))
    return Paper(reader, [page.extract_text() for page in reader.pages])


@pytest.fixture(scope="module")
def sheet(kept: Path) -> Paper:
    """A drafted sheet of one unit on Letter."""
    return read(make_dossier(), kept)


@pytest.fixture(scope="module")
def book(kept: Path) -> Paper:
    """An issued report of six units, the last one not tested."""
    return read(issued(make_dossier("balance-report", units=6), "AR-0003", 2), kept)


@pytest.fixture(scope="module")
def report(book: Paper) -> pypdf.PdfReader:
    """The same report without the text."""
    return book.reader


@pytest.fixture(scope="module")
def points(kept: Path) -> Paper:
    """A drafted point list of three landscape A4 pages."""
    return read(make_dossier("point-list", system="si", units=90), kept)


def test_a_sheet_shows_figures_in_the_units_of_the_project(sheet: Paper) -> None:
    text = sheet.texts[0]
    for words in ("TU-2-14", "780", "774", "99.2", "1032", "least relative squares", "Hood 2"):
        assert words in text
    assert "FH-20417" in text
    assert "cfm at 1 in. w.c." in text


def test_paper_follows_the_unit_system(sheet: Paper, kept: Path) -> None:
    ip = sheet.reader.pages[0].mediabox
    si = read(make_dossier(system="si"), kept).reader.pages[0].mediabox
    assert (float(ip.width), float(ip.height)) == pytest.approx(LETTER_PT, abs=0.5)
    assert (float(si.width), float(si.height)) == pytest.approx(A4_PT, abs=0.5)


def test_page_numbers_run_through_the_whole_document(book: Paper) -> None:
    total = len(book.texts)
    assert total > 3 + 6
    for number, text in enumerate(book.texts, start=1):
        assert f"{number} of {total}" in text


def test_running_heads_stand_on_every_page(book: Paper) -> None:
    for text in book.texts:
        assert "Alder Street Library" in text
        assert "AR-0003" in text
        assert "Issue 2" in text
        assert "2026-11-25" in text


def test_draft_stands_on_every_page_of_a_draft_as_text(points: Paper) -> None:
    assert len(points.texts) > 2
    for text in points.texts:
        assert text.count("DRAFT") >= 2  # in the strip and across the page


def test_an_issued_document_says_draft_nowhere(book: Paper) -> None:
    assert all("DRAFT" not in text for text in book.texts)


def test_table_heads_are_repeated_on_every_page(points: Paper) -> None:
    for text in points.texts:
        assert "Device" in text
        assert "Controller" in text


def test_no_row_is_cut_in_two(kept: Path) -> None:
    """Rows of several lines stand whole: the last word is on the page of the first."""
    long = " ".join(f"room{i}" for i in range(30))
    units = tuple(
        make_unit_data(f"TU-{i}", location=f"first{i}x {long} last{i}x") for i in range(60)
    )
    plain = make_dossier("point-list")
    document = read(Dossier(plain.frame, make_project_data(), units), kept)
    texts = [re.sub(r"\s+", " ", text) for text in document.texts]
    assert len(texts) > 3
    for i in range(60):
        first = [n for n, text in enumerate(texts) if f"first{i}x" in text]
        last = [n for n, text in enumerate(texts) if f"last{i}x" in text]
        assert first == last
        assert len(first) == 1


def test_blank_cells_are_marked_to_be_filled(points: Paper) -> None:
    # One unit in ten has no address: network number, MAC address and device instance.
    assert sum(text.count("to fill") for text in points.texts) >= 3 * 6


def test_units_not_tested_are_listed_on_the_cover(book: Paper) -> None:
    cover = book.texts[0]
    assert "Units not tested".upper() in cover.upper()
    assert "TU-2-19" in cover


def test_the_outline_leads_to_every_unit(book: Paper) -> None:
    report = book.reader
    top = [item.title for item in report.outline if not isinstance(item, list)]
    assert top == ["Cover", "Summary", "Open items and method", "Unit sheets"]
    inner: list[Any] = next(item for item in report.outline if isinstance(item, list))
    assert [item.title for item in inner] == [f"TU-2-{i}" for i in range(14, 20)]
    for item in inner:
        page = report.get_destination_page_number(item)
        assert page is not None
        assert item.title in book.texts[page]


def test_metadata_name_document_project_and_program(report: pypdf.PdfReader) -> None:
    found = report.metadata
    assert found is not None
    assert found.title == "Air balance report, AH-2 (AR-0003 issue 2)"
    assert found.subject == "26-041 Alder Street Library"
    assert found.producer == "Plenum Ledger"
    assert report.page_labels == [str(i + 1) for i in range(len(report.pages))]


def _elements(node: Any) -> Iterator[Any]:
    kids = node.get("/K")
    kids = kids.get_object() if kids is not None else []
    for kid in kids if isinstance(kids, list) else [kids]:
        child = kid.get_object() if hasattr(kid, "get_object") else kid
        if isinstance(child, dict) and "/S" in child:
            yield child
            yield from _elements(child)


def test_the_document_is_tagged_as_one_tree(report: pypdf.PdfReader) -> None:
    """Tagged PDF (published: ISO 32000-1, 14.7 and 14.8): marked, one tree, every page in it."""
    root: Any = report.trailer["/Root"]
    assert bool(root["/MarkInfo"]["/Marked"].value)
    assert root["/Lang"] == "en"
    tree = root["/StructTreeRoot"]
    elements = list(_elements(tree))
    kinds = {element["/S"] for element in elements}
    assert {"/Document", "/Sect", "/H1", "/H2", "/Table", "/TH", "/TD", "/Figure"} <= kinds
    ids = [str(element["/ID"]) for element in elements if "/ID" in element]
    assert len(ids) == len(set(ids))


def test_every_page_finds_its_own_structure(report: pypdf.PdfReader) -> None:
    """StructParents of each page leads to elements that name this very page."""
    root: Any = report.trailer["/Root"]
    nums = root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    table = {int(nums[i]): nums[i + 1].get_object() for i in range(0, len(nums), 2)}
    assert list(table) == sorted(table)
    seen = set()
    for page in report.pages:
        key = int(str(page["/StructParents"]))
        assert key not in seen
        seen.add(key)
        reference = page.indirect_reference
        assert reference is not None
        for entry in table[key]:
            element = entry.get_object()
            assert element["/Pg"].get_object() == page
            assert element.raw_get("/Pg").idnum == reference.idnum


def test_pictures_say_what_they_show(report: pypdf.PdfReader) -> None:
    root: Any = report.trailer["/Root"]
    figures = [e for e in _elements(root["/StructTreeRoot"]) if e["/S"] == "/Figure"]
    assert any("Reported against measured" in str(e.get("/Alt", "")) for e in figures)


def test_every_face_is_embedded_and_ours(report: pypdf.PdfReader) -> None:
    names = set()
    for page in report.pages:
        fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]  # a dictionary
        for font in fonts.values():
            below = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = below["/FontDescriptor"].get_object()
            assert len(descriptor["/FontFile2"].get_data()) > 500
            names.add(str(descriptor["/FontName"]).split("+")[1])
    assert any("Archivo" in name for name in names)
    assert all(name.startswith(("Archivo", "Sheet-Symbols")) for name in names), names


def test_the_same_dossier_gives_the_same_bytes(tmp_path: Path) -> None:
    dossier = issued(make_dossier("balance-report", units=2))
    first = pdf.render(dossier, keep_in=tmp_path / "a", processes=2).content
    second = pdf.render(dossier, keep_in=tmp_path / "b", processes=1).content
    assert hashlib.sha256(first).hexdigest() == hashlib.sha256(second).hexdigest()


def test_unchanged_sheets_are_used_again(tmp_path: Path) -> None:
    dossier = make_dossier("balance-report", units=2)
    pdf.render(dossier, keep_in=tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.glob("*/*.pdf")}
    changed = (dossier.units[0], make_unit_data("TU-2-15", location="elsewhere"))
    again = pdf.render(issued(Dossier(dossier.frame, dossier.project, changed)), keep_in=tmp_path)
    assert again.fresh_parts == 3 + 1  # cover, summary, method; and the one changed sheet
    for path in tmp_path.glob("*/*.pdf"):
        assert before.get(path.name, path.read_bytes()) == path.read_bytes()
