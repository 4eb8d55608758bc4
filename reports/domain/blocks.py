"""Sections of text, table and picture: what a document of the work is made of.

Cells keep numbers in SI with their kind, so that the same stored section can be read in the
document's units.
"""

from __future__ import annotations

from dataclasses import dataclass

from reports.domain.marking import MarkState


@dataclass(frozen=True, slots=True)
class ColumnData:
    """A column: its head, its width in characters, its kind of quantity ("" for words)."""

    label: str
    width: float
    kind: str = ""
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class CellData:
    """A cell: words, or a number in SI of the column's kind, with a mark before it or not."""

    text: str = ""
    value: float | None = None
    mark: MarkState | None = None


@dataclass(frozen=True, slots=True)
class SectionData:
    """A section under a heading.

    Attributes
    ----------
    title
        Heading; "" goes on under the heading before.
    paragraphs
        Plain text.
    picture
        A drawing as SVG text of our own making, or "".
    caution
        A caution that stands in a frame, or "".
    starts_page
        The section begins on a new page.
    """

    title: str
    paragraphs: tuple[str, ...] = ()
    columns: tuple[ColumnData, ...] = ()
    rows: tuple[tuple[CellData, ...], ...] = ()
    picture: str = ""
    caution: str = ""
    starts_page: bool = False
