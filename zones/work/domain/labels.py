"""Sheets of labels: sizes in use and where each label stands on the paper.

Lengths are in millimetres, because that is how sheets are cut and sold; nothing else reads
them. Sizes: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

PAPER_MM: Mapping[str, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
"""Width and height of the paper [mm] (ANSI/ASME Y14.1 letter, ISO 216 A4; published)."""


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of equal labels.

    Attributes
    ----------
    left_mm, top_mm
        Upper left corner of the first label, from the paper's upper left corner [mm, >= 0].
    step_x_mm, step_y_mm
        From one label to the next, to the right and down [mm], at least the label's size.
    """

    key: str
    name: str
    paper: Literal["letter", "a4"]
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    step_x_mm: float
    step_y_mm: float

    @property
    def count(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows


@dataclass(frozen=True, slots=True)
class LabelPlace:
    """Where one label stands: its sheet from 0, and its corner from the paper's corner [mm]."""

    sheet: int
    x_mm: float
    y_mm: float


SHEETS: tuple[LabelSheet, ...] = (
    LabelSheet(
        "letter-30",
        "Letter, 30 of 2⅝ × 1 in.",
        "letter",
        3,
        10,
        66.675,
        25.4,
        4.7625,
        12.7,
        69.85,
        25.4,
    ),
    LabelSheet(
        "letter-10",
        "Letter, 10 of 4 × 2 in.",
        "letter",
        2,
        5,
        101.6,
        50.8,
        3.97,
        12.7,
        106.36,
        50.8,
    ),
    LabelSheet(
        "letter-6",
        "Letter, 6 of 4 × 3⅓ in.",
        "letter",
        2,
        3,
        101.6,
        84.667,
        3.97,
        12.7,
        106.36,
        84.667,
    ),
    LabelSheet("a4-24", "A4, 24 of 70 × 37 mm", "a4", 3, 8, 70.0, 37.0, 0.0, 0.5, 70.0, 37.0),
    LabelSheet(
        "a4-21",
        "A4, 21 of 63.5 × 38.1 mm",
        "a4",
        3,
        7,
        63.5,
        38.1,
        7.25,
        15.15,
        66.0,
        38.1,
    ),
    LabelSheet("a4-8", "A4, 8 of 99.1 × 67.7 mm", "a4", 2, 4, 99.1, 67.7, 4.65, 13.1, 101.6, 67.7),
)
SHEET: Mapping[str, LabelSheet] = {sheet.key: sheet for sheet in SHEETS}


def places(sheet: LabelSheet, count: int, *, used: int = 0) -> list[LabelPlace]:
    """Where ``count`` labels stand when the first ``used`` of the first sheet are gone.

    Parameters
    ----------
    sheet
        The sheet of labels.
    count
        Labels to print [>= 0].
    used
        Labels that are gone from the first sheet [0 to one less than a sheet holds].

    Raises
    ------
    ValueError
        ``count`` is negative, or ``used`` is not a number of labels that leaves one.

    Examples
    --------
    >>> places(SHEET["a4-24"], 2, used=2)
    [LabelPlace(sheet=0, x_mm=140.0, y_mm=0.5), LabelPlace(sheet=0, x_mm=0.0, y_mm=37.5)]
    """
    if count < 0:
        raise ValueError(f"count is {count}, not a number of labels")
    if not 0 <= used < sheet.count:
        raise ValueError(f"used is {used}; a sheet holds {sheet.count} labels")
    found = []
    for at in range(used, used + count):
        number, place = divmod(at, sheet.count)
        row, column = divmod(place, sheet.columns)
        found.append(
            LabelPlace(
                number,
                sheet.left_mm + column * sheet.step_x_mm,
                sheet.top_mm + row * sheet.step_y_mm,
            )
        )
    return found
