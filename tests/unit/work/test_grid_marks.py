"""The marks of the grid are pictures of their own files; they have to be the marks of the sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from projectsite.ui.marks import INK, State, drawing

FILES = Path(__file__).parents[3] / "zones/work/static/work/marks"


def shape(svg: str) -> str:
    """What is drawn inside a picture."""
    found = re.search(r"<svg[^>]*>(.*)</svg>", svg)
    assert found
    return found[1]


@pytest.mark.parametrize("state", list(INK))
def test_files_draw_the_marks_of_the_sheet(state: State) -> None:
    assert shape((FILES / f"{state}.svg").read_text()) == shape(drawing(state))
