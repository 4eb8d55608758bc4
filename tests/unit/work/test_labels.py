"""Sheets of labels: they fit on the paper, stand apart, and begin where the sheet is still full."""

from __future__ import annotations

from itertools import combinations

import pytest

from zones.work.domain.labels import PAPER_MM, SHEET, SHEETS, LabelSheet, places


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.key)
def test_every_label_lies_on_the_paper(sheet: LabelSheet) -> None:
    width, height = PAPER_MM[sheet.paper]
    for place in places(sheet, sheet.count):
        assert place.x_mm >= 0
        assert place.y_mm >= 0
        assert place.x_mm + sheet.width_mm <= width + 0.01
        assert place.y_mm + sheet.height_mm <= height + 0.01


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.key)
def test_no_label_lies_on_another(sheet: LabelSheet) -> None:
    for one, other in combinations(places(sheet, sheet.count), 2):
        is_beside = abs(one.x_mm - other.x_mm) >= sheet.width_mm - 0.01
        is_below = abs(one.y_mm - other.y_mm) >= sheet.height_mm - 0.01
        assert is_beside or is_below


def test_printing_begins_after_the_labels_that_are_gone() -> None:
    sheet = SHEET["letter-30"]
    found = places(sheet, 30, used=28)
    assert [place.sheet for place in found] == [0, 0, *[1] * 28]
    assert (found[0].x_mm, found[0].y_mm) == (4.7625 + 69.85, 12.7 + 9 * 25.4)
    assert (found[2].x_mm, found[2].y_mm) == (4.7625, 12.7)


@pytest.mark.parametrize("used", [-1, 30])
def test_an_impossible_beginning_is_refused(used: int) -> None:
    with pytest.raises(ValueError, match=f"used is {used}"):
        places(SHEET["letter-30"], 1, used=used)
