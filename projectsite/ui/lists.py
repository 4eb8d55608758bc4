"""State of a list in its address: search, filters, order and page, so that it can be shared."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import QueryDict

PAGE_SIZES = (50, 100, 250, 1000)


@dataclass(frozen=True, slots=True)
class Listing:
    """What the address says about a list.

    Attributes
    ----------
    pairs
        Every parameter of the address as it came, in order.
    sort
        Key of a sortable column, with ``-`` in front for downwards.
    page, size
        Page from 1 and rows per page.
    total
        Number of rows that match, or None until it is known.
    """

    pairs: tuple[tuple[str, str], ...]
    sort: str
    page: int
    size: int
    total: int | None = None

    @classmethod
    def read(
        cls, query: QueryDict, *, sorts: Collection[str], default: str, size: int = 100
    ) -> Listing:
        """Read the address; what cannot be understood falls back to the default.

        A stale or mistyped address must still show the list, so nothing here is an error.
        """
        pairs = tuple((key, value) for key, values in query.lists() for value in values if value)
        given = query.get("sort", "")
        sort = given if given.removeprefix("-") in sorts else default
        wanted = query.get("size", "")
        chosen = int(wanted) if wanted in {str(known) for known in PAGE_SIZES} else size
        page = query.get("page", "")
        number = int(page) if page.isascii() and page.isdigit() and len(page) < 7 else 1
        return cls(pairs, sort, max(number, 1), chosen)

    def counted(self, total: int) -> Listing:
        """Take the number of matching rows; a page behind the last becomes the last."""
        pages = max(-(-total // self.size), 1)
        return replace(self, total=total, page=min(self.page, pages))

    @property
    def sort_key(self) -> str:
        """Key of the column in order, without direction."""
        return self.sort.removeprefix("-")

    @property
    def is_descending(self) -> bool:
        """Tell whether the order is downwards."""
        return self.sort.startswith("-")

    @property
    def offset(self) -> int:
        """Number of rows before this page."""
        return (self.page - 1) * self.size

    @property
    def pages(self) -> int:
        """Number of pages, at least 1."""
        return max(-(-(self.total or 0) // self.size), 1)

    @property
    def first(self) -> int:
        """Number of the first row on this page, or 0 when there is none."""
        return min(self.offset + 1, self.total or 0)

    @property
    def last(self) -> int:
        """Number of the last row on this page."""
        return min(self.offset + self.size, self.total or 0)

    @property
    def is_filtered(self) -> bool:
        """Tell whether anything but order and paging is in the address."""
        return any(key not in {"sort", "page", "size", "format"} for key, _ in self.pairs)

    def link(self, **changes: str | int | None) -> str:
        """Address of the same list with these parameters replaced (None removes one)."""
        kept = [(key, value) for key, value in self.pairs if key not in changes]
        added = [(key, str(value)) for key, value in changes.items() if value is not None]
        return "?" + urlencode([*kept, *added])

    def sort_link(self, key: str) -> str:
        """Address that orders by this column, or turns the order round."""
        turned = f"-{key}" if self.sort == key else key
        return self.link(sort=turned, page=None)

    @property
    def previous_link(self) -> str:
        """Address of the page before, or "" on the first."""
        return self.link(page=self.page - 1) if self.page > 1 else ""

    @property
    def next_link(self) -> str:
        """Address of the page after, or "" on the last."""
        return self.link(page=self.page + 1) if self.page < self.pages else ""

    @property
    def page_links(self) -> list[tuple[int | None, str]]:
        """Pages to offer: ends, this one and its neighbours; None stands for a gap."""
        shown = sorted(
            {1, self.pages, *range(max(self.page - 2, 1), min(self.page + 2, self.pages) + 1)}
        )
        links: list[tuple[int | None, str]] = []
        before = 0
        for number in shown:
            if number - before > 1:
                links.append((None, ""))
            links.append((number, self.link(page=number)))
            before = number
        return links

    @property
    def kept(self) -> list[tuple[str, str]]:
        """Parameters that a filter form carries along as hidden fields."""
        return [(key, value) for key, value in self.pairs if key in {"sort", "size"}]

    def export_links(self) -> Mapping[str, str]:
        """Addresses of exactly these rows, all pages, as workbook and as text."""
        return {
            "XLSX": self.link(format="xlsx", page=None),
            "CSV": self.link(format="csv", page=None),
        }
