from dataclasses import dataclass
from datetime import UTC, date, datetime
from html import escape
from html.parser import HTMLParser
from io import BytesIO
from time import process_time
from zoneinfo import ZoneInfo

import pytest
from django.http import QueryDict
from hypothesis import given
from hypothesis import strategies as st

from projectsite.core import units
from projectsite.core.quantities import KINDS
from projectsite.core.workbook import write_csv
from projectsite.ui.lists import Listing
from projectsite.ui.marks import Mark
from projectsite.ui.tables import Column, Empty, Selection, Table, escape_all

CFM = units.to_si(1.0, "cubic_foot_per_minute", "airflow")


@dataclass(frozen=True)
class Row:
    id: int
    tag: str
    maximum: float | None
    state: Mark


class Cells(HTMLParser):
    """Collects what stands in each cell, row by row."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.open = False
        self.feed(markup)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        elif tag in {"td", "th"}:
            self.rows[-1].append("")
            self.open = True

    def handle_endtag(self, tag: str) -> None:
        if tag in {"td", "th"}:
            self.open = False

    def handle_data(self, data: str) -> None:
        if self.open:
            self.rows[-1][-1] += data


COLUMNS = (
    Column("tag", "Tag", sort="tag"),
    Column("maximum", "Maximum", "airflow", group="Cooling", sort="maximum"),
    Column("state", "State", "mark"),
)
ROWS = [
    Row(1, "TU-1 <b>&", 350 * CFM, Mark("done", "agrees")),
    Row(2, "TU-2", None, Mark("hold", "disagrees")),
]


def table(**changes: object) -> Table:
    return Table(**{"caption": "Units", "columns": COLUMNS, "rows": ROWS, **changes})  # type: ignore[arg-type]  # a test's shorthand


def test_one_declaration_gives_head_unit_and_cells() -> None:
    cells = Cells(table().html()).rows
    assert cells == [
        ["Tag", "Cooling maximumcfm", "State"],
        ["TU-1 <b>&", "350", "agrees"],
        ["TU-2", "—", "disagrees"],
    ]


def test_text_is_escaped() -> None:
    markup = table().html()
    assert "<b>" not in markup
    assert "TU-1 &lt;b&gt;&amp;" in markup


def test_units_follow_the_reader() -> None:
    cells = Cells(table(system="si").html()).rows
    assert cells[0][1] == "Cooling maximumL/s"
    assert cells[1][1] == "165"


def test_mappings_serve_as_rows() -> None:
    rows = [{"tag": "TU-9", "maximum": 0.0, "state": Mark("wait", "waits")}]
    assert Cells(table(rows=rows).html()).rows[1] == ["TU-9", "0", "waits"]


def test_a_flagged_cell_carries_mark_and_word_besides_colour() -> None:
    flagged = Column("maximum", "Maximum", "airflow", flag=lambda row: row.id == 1)
    markup = table(columns=(COLUMNS[0], flagged)).html()
    assert markup.count('class="n dis"') == 1
    assert Cells(markup).rows[1][1] == "350 disagrees"


def listing(query: str, total: int = 1000) -> Listing:
    return Listing.read(QueryDict(query), sorts={"tag", "maximum"}, default="tag").counted(total)


def test_heads_keep_the_rest_of_the_address_and_turn_the_order_round() -> None:
    markup = table(listing=listing("q=a%26b&sort=maximum&page=3")).html()
    assert 'href="?q=a%26b&amp;sort=-maximum"' in markup
    assert 'href="?q=a%26b&amp;sort=tag"' in markup
    assert markup.count('aria-sort="ascending"') == 1


@pytest.mark.parametrize(
    ("query", "sort", "page"),
    [
        ("sort=secret&page=x", "tag", 1),
        ("page=0", "tag", 1),
        ("page=99999", "tag", 10),
        ("page=²", "tag", 1),
        ("sort=-maximum&page=2", "-maximum", 2),
        ("sort=--maximum", "tag", 1),
    ],
)
def test_a_bad_address_still_shows_the_list(query: str, sort: str, page: int) -> None:
    read = listing(query)
    assert (read.sort, read.page) == (sort, page)


def test_page_links_show_ends_and_neighbours_once() -> None:
    numbers = [number for number, _ in listing("page=5").page_links]
    assert numbers == [1, None, 3, 4, 5, 6, 7, None, 10]
    assert [number for number, _ in listing("", total=0).page_links] == [1]


def test_export_takes_all_pages_of_the_same_list() -> None:
    assert listing("q=x&page=4").export_links()["CSV"] == "?q=x&format=csv"


def test_an_empty_table_says_what_to_do_and_a_filtered_one_how_to_widen() -> None:
    empty = Empty("No units yet.", "Import first.", "/import?a=1&b=2", "Import")
    assert 'href="/import?a=1&amp;b=2"' in table(rows=[], empty=empty).html()
    assert "No units yet." in table(rows=[], empty=empty, listing=listing("sort=tag")).html()
    assert "Nothing matches." in table(rows=[], empty=empty, listing=listing("q=zz")).html()


def test_boxes_name_their_rows() -> None:
    chosen = Selection("unit", lambda row: row.id, lambda row: row.tag, "bulk")
    markup = table(selection=chosen).html()
    assert 'name="unit" form="bulk" value="2" aria-label="Select TU-2"' in markup
    assert 'data-select-all="unit"' in markup


def test_csv_holds_the_same_rows_with_exact_numbers() -> None:
    target = BytesIO()
    write_csv(target, table().sheet())
    lines = target.getvalue().decode("utf-8-sig").splitlines()
    assert lines == ["Tag,Cooling maximum (cfm),State", "TU-1 <b>&,350,agrees", "TU-2,,disagrees"]


def test_document_has_no_links_or_boxes_and_fixed_widths() -> None:
    linked = (Column("tag", "Tag", link=lambda row: "/x"), *COLUMNS[1:])
    chosen = Selection("unit", lambda row: row.id, lambda row: row.tag)
    markup = table(columns=linked, selection=chosen, listing=listing("")).document()
    assert "<a " not in markup
    assert "<input" not in markup
    assert markup.count("<col ") == 3


def test_foot_adds_a_column_up() -> None:
    total = Column(
        "maximum",
        "Maximum",
        "airflow",
        total=lambda values: sum(value for value in values if value is not None),
    )
    rows = [ROWS[0], ROWS[0]]
    assert Cells(table(columns=(COLUMNS[0], total), rows=rows).html()).rows[-1] == ["Total", "700"]


def test_times_stand_in_the_projects_zone() -> None:
    columns = (Column("at", "At", "time"), Column("on", "On", "date"), Column("ok", "Ok", "yes"))
    row = {"at": datetime(2026, 11, 25, 3, 5, tzinfo=UTC), "on": date(2026, 11, 25), "ok": False}
    shown = Cells(table(columns=columns, rows=[row], zone=ZoneInfo("America/Chicago")).html())
    assert shown.rows[1] == ["2026-11-24 21:05", "2026-11-25", "no"]


@given(
    st.lists(st.one_of(st.none(), st.floats(-1e7, 1e7), st.floats(-1, 1)), min_size=1, max_size=20),
    st.sampled_from(sorted(KINDS)),
    st.sampled_from(["ip", "si"]),
)
def test_a_column_prints_as_its_values_one_by_one(values, kind, system) -> None:  # type: ignore[no-untyped-def]  # hypothesis fills them
    expected = [units.show(value, kind, system) for value in values]
    assert units.show_all(values, kind, system) == expected


@given(st.integers(0, 20_000), st.integers(0, 3))
def test_ties_round_half_up_in_a_column_too(whole: int, decimals: int) -> None:
    value = units.to_si((whole + 0.5) / 10**decimals, "cubic_foot_per_minute", "airflow")
    assert units.show_all([value], "airflow", "ip") == [units.show(value, "airflow", "ip")]


def test_a_thousand_rows_cost_little() -> None:
    rows = [
        {"tag": f"TU-{i}", "zone": "Reading room", "q": i * 1e-4, "s": ROWS[0].state}
        for i in range(1000)
    ]
    columns = (
        Column("tag", "Tag", link=lambda row: f"/u/{row['tag']}"),
        Column("zone", "Zone"),
        *(Column("q", f"Flow {i}", "airflow") for i in range(9)),
        Column("s", "State", "mark"),
    )
    listed = Table("Units", columns, rows)
    listed.html()
    spent = []
    for _ in range(5):
        start = process_time()
        listed.html()
        spent.append(process_time() - start)
    # 8 ms on the development machine; the limit leaves room for a slower one.
    assert min(spent) < 0.05


@given(st.lists(st.text(alphabet=st.sampled_from("a<>&\"'\0é"), max_size=6), max_size=8))
def test_texts_escaped_at_once_are_as_if_escaped_one_by_one(texts: list[str]) -> None:
    assert escape_all(texts) == [escape(text) for text in texts]
