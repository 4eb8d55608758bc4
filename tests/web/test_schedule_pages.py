"""Schedule imports by page and API, and every kind of bad file through the page."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from projectsite.core.workbook.types import MAX_FILE_BYTES
from tests.builders import Cast
from tests.builders.imports import (
    SCHEDULES,
    apply,
    fixture,
    preview,
    receive,
    schedule,
    starter_library,
)
from tests.builders.inventory import CFM, make_unit
from tests.recorded_queries import Recorder
from tests.unit.hostile import make_xlsx, number, text
from zones.inventory.imports import work
from zones.inventory.models import BoxModel, ScheduleImport, TerminalUnit

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
IMPORTS = "/p/alder/imports/"
API = "/api/v1/projects/alder/imports/"


@pytest.fixture
def office(cast: Cast, sign_in: SignIn) -> Client:
    starter_library(cast.scope())
    return sign_in(cast.office)


def words(html: bytes) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.decode())))


def shown(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address, follow=True)
    assert response.status_code == status, response.content[:400]
    return words(response.content)


def upload(
    client: Client, content: bytes, name: str = "schedule.xlsx", target: str = "units"
) -> tuple[int, str]:
    file = SimpleUploadedFile(name, content)
    response = client.post(f"{IMPORTS}new/", {"file": file, "target": target}, follow=True)
    return response.status_code, words(response.content)


def mapping_form(found: ScheduleImport, **instead: str) -> dict[str, str]:
    form = {"version": str(found.version)}
    for column in found.proposal["columns"]:
        form[f"field_{column['index']}"] = column["field"]
        form[f"unit_{column['index']}"] = column["unit"]
    return form | instead


def take(client: Client, content: bytes, name: str = "schedule.xlsx", **instead: str) -> str:
    """Upload, accept the proposal, and give the words of the preview with all its rows."""
    status, told = upload(client, content, name)
    assert status == 200, told
    found = ScheduleImport.objects.latest("id")
    response = client.post(
        f"{IMPORTS}{found.pk}/columns/", mapping_form(found, **instead), follow=True
    )
    assert response.status_code == 200, words(response.content)
    return words(response.content)


# -- the way through ------------------------------------------------------------------------


def test_the_empty_list_says_what_to_do_first(cast: Cast, office: Client, sign_in: SignIn) -> None:
    assert "Import a schedule" in shown(office, IMPORTS)
    assert "Import a schedule" not in shown(sign_in(cast.owner), IMPORTS)


def test_the_limit_is_said_before_the_upload(office: Client) -> None:
    assert "at most 25 MB and 50,000 rows" in shown(office, f"{IMPORTS}new/")


def test_upload_map_preview_apply(office: Client) -> None:
    content = (SCHEDULES / "terminal-units-ip.xlsx").read_bytes()
    told = take(office, content, "terminal-units-ip.xlsx")
    assert "43 new and 0 changed. 6 refused" in told
    assert "New air handlers: AHU-1, AHU-2." in told
    assert "I11 (cooling minimum): The cooling minimum is above the cooling maximum." in told
    found = ScheduleImport.objects.get()
    form = {"version": found.version, "rows": "whole"}
    refused = office.post(f"{IMPORTS}{found.pk}/apply/", form, follow=True)
    assert "6 rows are refused, so nothing was written." in words(refused.content)
    done = office.post(f"{IMPORTS}{found.pk}/apply/", form | {"rows": "good"}, follow=True)
    assert "Applied: 43 added, 0 changed." in words(done.content)
    assert "Applied as revision 0 by Office Person" in words(done.content)
    assert TerminalUnit.objects.count() == 43


def test_the_same_file_is_recognised(office: Client) -> None:
    content = schedule(["TU-1", "AH-1", 350, 100])
    upload(office, content)
    assert "Exactly this file was received before" in upload(office, content)[1]


def test_changes_are_told_in_the_readers_units(cast: Cast, office: Client) -> None:
    make_unit(cast.project, "TU-1", cooling_min_m3_s=100 * CFM)
    told = take(office, schedule(["TU-1", None, 350, 100]))
    assert "Cooling maximum: 700 cfm → 350 cfm" in told
    User.objects.filter(pk=cast.office.pk).update(reading_system="si")
    found = ScheduleImport.objects.get()
    assert "Cooling maximum: 330 L/s → 165 L/s" in shown(office, f"{IMPORTS}{found.pk}/")


def test_rows_are_filtered_by_outcome_and_tag(cast: Cast, office: Client) -> None:
    other = make_unit(cast.project, "TU-9")
    take(office, schedule(["TU-1", None, 350, 100], ["TU-2", None, "x", 1], ["TOTAL", None, 350]))
    address = f"{IMPORTS}{ScheduleImport.objects.get().pk}/"
    assert "1 rows" in shown(office, f"{address}?outcome=refused")
    assert "“TOTAL” is a total." in shown(office, f"{address}?outcome=ignored")
    assert "Nothing matches" in shown(office, f"{address}?outcome=changed&text=TU")
    missing = shown(office, f"{address}?outcome=missing")
    assert other.tag in missing
    assert "never removes a unit" in missing


def test_rows_as_a_file(office: Client) -> None:
    take(office, schedule(["TU-1", None, 350, 100], ["TU-2", None, "x", 1]))
    address = f"{IMPORTS}{ScheduleImport.objects.get().pk}/?outcome=refused&format=csv"
    lines = office.get(address).content.decode("utf-8-sig").splitlines()
    assert lines[0] == "Row,Tag,Outcome,What and why"
    assert lines[1].startswith("4,TU-2,refused,")
    assert len(lines) == 2


def test_comparison_page_and_files(cast: Cast, office: Client) -> None:
    assert "not yet two revisions" in shown(office, f"{IMPORTS}compare/")
    scope = cast.scope()
    apply(scope, fixture(scope, "terminal-units-ip.xlsx"))
    apply(scope, fixture(scope, "addendum-1.xlsx"))
    told = shown(office, f"{IMPORTS}compare/")
    assert "6 added, 0 missing, 8 changed" in told
    assert "VAV-2-01" in told
    csv = office.get(f"{IMPORTS}compare/?first=0&second=1&format=csv").content.decode("utf-8-sig")
    assert "VAV-2-01,changed,Cooling maximum,640 cfm,780 cfm" in csv.splitlines()
    assert office.get(f"{IMPORTS}compare/?first=0&second=1&format=xlsx").content[:2] == b"PK"
    assert office.get(f"{IMPORTS}compare/?first=0&second=9").status_code == 404


def test_the_received_file_comes_back_as_it_was(cast: Cast, office: Client) -> None:
    content = schedule(["TU-1", None, 350, 100])
    found = receive(cast.scope(), content, name='my "plan".xlsx')
    response = office.get(f"{IMPORTS}{found.id}/file/")
    assert response.content == content
    assert response["Content-Disposition"] == 'attachment; filename="my _plan_.xlsx"'


def test_another_sheet_and_other_rows(cast: Cast, office: Client) -> None:
    content = (SCHEDULES / "terminal-units-messy.xlsx").read_bytes()
    found = receive(cast.scope(), content)
    assert found.sheet == "M-701"
    address = f"{IMPORTS}{found.id}/layout/"
    told = words(office.post(address, {"sheet": "Old issue"}, follow=True).content)
    assert "sheet Old issue: headings in row 1" in told
    again = office.post(address, {"sheet": "Old issue", "heading_row": 9, "first_row": 10})
    assert again.status_code == 422
    assert "The sheet has rows 1 to 2." in words(again.content)
    assert ScheduleImport.objects.get().work_state == "idle"


def test_progress_moves_and_can_be_stopped(
    cast: Cast, office: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(work, "DIRECT_ROWS", 0)
    status, told = upload(office, schedule(["TU-1", None, 350, 100]))
    assert status == 200
    assert "You can leave this page and come back" in told
    found = ScheduleImport.objects.get()
    poll = office.get(f"{IMPORTS}{found.pk}/work/")
    assert b'hx-trigger="every 1s"' in poll.content
    stopped = office.post(f"{IMPORTS}{found.pk}/stop/", follow=True)
    assert "The reading was stopped. Nothing was changed." in words(stopped.content)
    ended = office.get(f"{IMPORTS}{found.pk}/work/")
    assert ended["HX-Redirect"] == f"{IMPORTS}{found.pk}/"


# -- bad input, each through the page -------------------------------------------------------


def ole_file() -> bytes:
    """The start of the container in which office programs keep protected workbooks."""
    name = "EncryptedPackage".encode("utf-16-le")
    return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504 + name + b"\0" * 1000


@pytest.mark.parametrize(
    ("content", "name", "message"),
    [
        (b"\x00\x01\x02not a table\xff\xfe\x00" * 20, "s.xlsx", "not a"),
        (ole_file(), "s.xlsx", "password"),
        (b"", "s.xlsx", "The file is empty"),
        (make_xlsx(), "s.xlsx", "empty"),
        (make_xlsx(number("A200000", 1.0)), "s.xlsx", "rows"),
    ],
    ids=["not a workbook", "password", "no bytes", "no cells", "far cell"],
)
def test_files_that_are_no_schedule(
    office: Client, content: bytes, name: str, message: str
) -> None:
    status, told = upload(office, content, name)
    assert status == 422, told
    assert message in told
    assert not ScheduleImport.objects.exclude(state="dropped").exists()
    assert TerminalUnit.objects.count() == 0


def test_200_000_rows(office: Client) -> None:
    lines = "Tag,Cooling max (cfm)\n" + "".join(f"TU-{i},350\n" for i in range(200_000))
    status, told = upload(office, lines.encode(), "s.csv")
    assert status == 422
    assert "200,001 rows; at most 50,000" in told or "50,000" in told
    assert not ScheduleImport.objects.exclude(state="dropped").exists()


def test_a_decompression_bomb_is_refused_by_its_size(office: Client) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(500):
                part.write(b" " * 1_000_000)
    status, told = upload(office, stream.getvalue())
    assert status == 422
    assert "unpack" in told
    assert ScheduleImport.objects.count() == 0


def test_a_file_that_is_too_large_is_refused_before_it_is_read(office: Client) -> None:
    status, told = upload(office, b"x" * (MAX_FILE_BYTES + 1), "s.csv")
    assert status == 422
    assert "at most 25 MB" in told


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (["TU-1", "AH-1", "TBD", 100], "C3 (cooling maximum): “TBD” is not a number."),
        (["TU-1", "AH-1", "N/A", 100], "C3 (cooling maximum): “N/A” is not a number."),
        (["TU-1", "AH-1", -350, None], "C3 (cooling maximum): Can't be negative."),
        (["TU-1", "AH-1", 300, 400], "D3 (cooling minimum): The cooling minimum is above"),
        (["TU-1", "AH-1", "350 Pa", 100], "C3 (cooling maximum): “350 Pa” is not"),
        ([None, "AH-1", 350, 100], "A3 (tag): There is no tag in this row."),
        (["TU-" + "1" * 60, None, 350, 100], "A3 (tag): At most 60 characters"),
    ],
)
def test_bad_cells_are_named(office: Client, row: list[Any], message: str) -> None:
    told = take(office, schedule(row))
    assert message in told
    assert "there is nothing to apply" in told


@pytest.mark.parametrize("flow", ["1,250", "1250 cfm", "1 250 CFM", " 1250 ", 1250])
def test_thousands_and_trailing_units_are_read(office: Client, flow: Any) -> None:
    told = take(office, schedule(["TU-1", "AH-1", flow, 100]))
    assert "cooling maximum 1250 cfm" in told


def test_mixed_units_are_read_and_said(office: Client) -> None:
    told = take(office, schedule(["TU-1", None, "425 L/s", 100], ["TU-2", None, 900, 100]))
    assert "the cell's own was used. Cells by field: cooling maximum 1." in told
    assert "cooling maximum 901 cfm" in told


def test_duplicates_name_each_other(office: Client) -> None:
    told = take(office, schedule(["TU-1", None, 350, 100], ["tu-1", None, 360, 100]))
    assert "The tag TU-1 is also in row 4." in told
    assert "The tag tu-1 is also in row 3." in told


def test_formula_cells(office: Client) -> None:
    """A stored result is used; without one the cell is named."""
    cells = "".join(
        (
            f'<row r="1">{text("A1", "Tag")}{text("B1", "Cooling max (cfm)")}</row>',
            f'<row r="2">{text("A2", "TU-1")}<c r="B2"><f>300+50</f><v>350</v></c></row>',
            f'<row r="3">{text("A3", "TU-2")}<c r="B3"><f>300+60</f></c></row>',
        )
    )
    told = take(office, make_xlsx(cells))
    assert "cooling maximum 350 cfm" in told
    assert "B3 holds a formula that was never calculated" in told
    assert "formula" in told


def test_merged_headings_totals_and_notes(office: Client) -> None:
    model = BoxModel.objects.get(name="Single duct with electric coil")
    content = (SCHEDULES / "terminal-units-messy.xlsx").read_bytes()
    told = take(office, content, box_model=str(model.pk))
    assert "5 new and 0 changed. 8 refused" in told
    assert "F22 (cooling minimum): F22 holds the error #REF!." in told
    assert "“SUBTOTAL” is a total." in told


def test_unknown_heat_words(office: Client) -> None:
    head = (["Tag", "Reheat"], [None, None])
    told = take(office, schedule(["TU-1", "steam"], head=head))
    assert (
        "B3 (reheat): “steam” is not known as reheat. Use one of: none, hot water, electric."
        in told
    )


@pytest.mark.parametrize(
    ("instead", "message"),
    [
        ({"field_0": ""}, "Say which column holds the tag"),
        ({"field_1": "tag"}, "Tag is already taken from another column."),
        ({"unit_2": ""}, "Choose a unit of airflow for this column."),
        ({"field_1": "box_model"}, "Map the inlet size too"),
        ({"version": "99"}, "Somebody else worked on this import"),
    ],
)
def test_mappings_that_cannot_be_read(
    cast: Cast, office: Client, instead: dict[str, str], message: str
) -> None:
    found = receive(cast.scope(), schedule(["TU-1", "AH-1", 350, 100]))
    form = mapping_form(ScheduleImport.objects.get(pk=found.id), **instead)
    response = office.post(f"{IMPORTS}{found.id}/columns/", form)
    assert response.status_code == 422
    assert message in words(response.content)
    assert ScheduleImport.objects.get().state == "uploaded"


def test_markup_in_a_file_stays_text(office: Client) -> None:
    take(office, schedule(["<b>TU-1</b>", "AH-1", "<script>alert(1)</script>", 100]))
    found = ScheduleImport.objects.get()
    page = office.get(f"{IMPORTS}{found.pk}/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;b&gt;TU-1&lt;/b&gt;" in page


# -- the API --------------------------------------------------------------------------------


def test_the_whole_way_over_the_api(cast: Cast, api_as: ApiAs) -> None:
    starter_library(cast.scope())
    client = api_as(cast.office)
    content = (SCHEDULES / "terminal-units-ip.xlsx").read_bytes()
    file = SimpleUploadedFile("terminal-units-ip.xlsx", content)
    made = client.post(API, {"file": file}, format="multipart")
    assert made.status_code == 201, made.json()
    found = made.json()
    assert (found["sheet"], found["units_row"], found["received_before"]) == ("VAV schedule", 2, [])
    columns = [{k: c[k] for k in ("column", "field", "unit")} for c in found["columns"]]
    one = f"{API}{found['id']}/"
    done = client.post(f"{one}mapping/", {"version": found["version"], "columns": columns})
    assert done.status_code == 200, done.json()
    assert (done.json()["state"], done.json()["counts"]["refused"]) == ("preview", 6)
    rows = client.get(f"{one}rows/?outcome=refused&page_size=2").json()
    assert (rows["count"], len(rows["results"])) == (6, 2)
    assert rows["results"][0]["problems"][0]["cell"] == "I11"
    version = done.json()["version"]
    whole = client.post(f"{one}apply/", {"version": version, "rows": "whole"})
    assert (whole.status_code, whole.json()["code"]) == (400, "invalid")
    applied = client.post(f"{one}apply/", {"version": version})
    assert (applied.json()["revision"], applied.json()["added"]) == (0, 43)
    again = client.post(f"{one}apply/", {"version": version})
    assert (again.status_code, again.json()["code"]) == (409, "conflict")
    assert client.get(f"{one}file/").content == content


@pytest.mark.parametrize(
    ("columns", "field"),
    [
        (
            [{"column": 0, "field": "tag"}, {"column": 2, "field": "cooling_max_m3_s"}],
            "columns.1.unit",
        ),
        ([{"column": 99, "field": "tag"}], "columns.0.column"),
        ([{"column": 0, "field": "note"}], "mapping"),
        (
            [
                {"column": 0, "field": "tag"},
                {"column": 2, "field": "cooling_max_m3_s", "unit": "furlong"},
            ],
            "columns.1.unit",
        ),
    ],
)
def test_bad_mappings_over_the_api(
    cast: Cast, api_as: ApiAs, columns: list[dict[str, Any]], field: str
) -> None:
    found = receive(cast.scope(), schedule(["TU-1", "AH-1", 350, 100]))
    body = {"version": found.version, "columns": columns}
    answer = api_as(cast.office).post(f"{API}{found.id}/mapping/", body)
    assert answer.status_code == 400
    assert field in answer.json()["fields"]


def test_comparison_over_the_api(cast: Cast, api_as: ApiAs) -> None:
    scope = cast.scope()
    for flow in (350, 360):
        apply(scope, preview(scope, schedule(["TU-1", "AH-1", flow, 100])))
    answer = api_as(cast.owner).get(f"{API}compare/?first=0&second=1").json()
    (line,) = answer["results"]
    assert (line["tag"], line["field"]) == ("TU-1", "cooling_max_m3_s")
    assert line["new"] == pytest.approx(360 * CFM)


def test_a_stale_preview_over_the_api(cast: Cast, api_as: ApiAs) -> None:
    found = preview(cast.scope(), schedule(["TU-1", "AH-1", 350, 100]))
    make_unit(cast.project, "TU-7")
    answer = api_as(cast.office).post(f"{API}{found.id}/apply/", {"version": found.version})
    assert answer.status_code == 409
    assert "made again" in answer.json()["message"]
    assert TerminalUnit.objects.count() == 1


def test_query_counts_of_pages(cast: Cast, office: Client, recorded_queries: Recorder) -> None:
    scope = cast.scope()
    found = fixture(scope, "terminal-units-ip.xlsx")
    with recorded_queries("page: import in preview"):
        office.get(f"{IMPORTS}{found.id}/")
    with recorded_queries("page: imports"):
        office.get(IMPORTS)
    with recorded_queries("page: columns of an import"):
        office.get(f"{IMPORTS}{found.id}/columns/")
