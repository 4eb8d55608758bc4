"""Box labels: where they stand, what they say, and a code that can be read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pypdfium2
import pytest
import segno

from reports.pdf import render
from tests.builders.reports import make_dossier, make_unit_data, make_untested_unit
from zones.work.domain.labels import SHEET, places

ADDRESS = "https://ledger.example.org/p/alder/units/{}/"
SHEET_KEY, USED, UNITS = "letter-10", 3, 9
DPI = 300


@pytest.fixture(scope="module")
def labels(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("labels")
    units = [make_unit_data(f"TU-2-{i}", address=ADDRESS.format(i)) for i in range(1, UNITS)]
    last = make_untested_unit(
        f"TU-2-{UNITS}", address=ADDRESS.format(UNITS), mac_address=None, device_instance=None
    )
    dossier = make_dossier()
    frame = replace(
        dossier.frame,
        kind="label-sheet",
        title="Box labels",
        label_sheet=SHEET_KEY,
        labels_used=USED,
    )
    made = render(replace(dossier, frame=frame, units=(*units, last)), keep_in=folder, processes=1)
    target = folder / "labels.pdf"
    target.write_bytes(made.content)
    return target


def test_labels_go_on_after_those_that_are_gone(labels: Path) -> None:
    pages = pypdf.PdfReader(labels).pages
    assert [page.extract_text().count("TU-2-") for page in pages] == [7, 2]
    assert [float(side) for side in pages[0].mediabox[2:]] == [612, 792]


def test_what_is_known_is_printed_and_the_rest_is_left_for_a_pen(labels: Path) -> None:
    first, last = (page.extract_text() for page in pypdf.PdfReader(labels).pages)
    assert "1032 cfm at 1 in. w.c." in first
    assert "MAC ______ · instance ____________" in last
    assert "K ____________" in last
    assert "DRAFT" not in first + last


def test_the_code_of_each_label_leads_to_its_unit(labels: Path) -> None:
    """Each printed code is the one of the unit's address (ISO/IEC 18004, made by segno)."""
    sheet = SHEET[SHEET_KEY]
    picture = pypdfium2.PdfDocument(labels)[0].render(scale=DPI / 72).to_numpy()
    ink = picture[:, :, :3].min(axis=2) < 128
    for number, place in enumerate(places(sheet, 7, used=USED), start=1):
        expected = np.array(
            [list(row) for row in segno.make(ADDRESS.format(number), error="m", micro=False).matrix]
        )
        right = (place.x_mm + sheet.width_mm / 2) / 25.4 * DPI
        bottom = (place.y_mm + sheet.height_mm) / 25.4 * DPI
        part = ink[
            int(place.y_mm / 25.4 * DPI) : int(bottom),
            int(right) : int((place.x_mm + sheet.width_mm) / 25.4 * DPI),
        ]
        rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
        code = part[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        centres = (np.arange(len(expected)) + 0.5) / len(expected)
        read = code[
            np.ix_((centres * code.shape[0]).astype(int), (centres * code.shape[1]).astype(int))
        ]
        assert np.array_equal(read, expected.astype(bool)), f"label {number}"
