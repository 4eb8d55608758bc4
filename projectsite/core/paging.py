"""Paging of API lists."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from rest_framework.pagination import PageNumberPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


class NumberedPages(PageNumberPagination):
    """Pages by number; up to 1,000 rows a page."""

    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 1000


class _Rows:
    """Rows that are counted and fetched by page, for the paginator."""

    def __init__(self, count: int, fetch: Callable[[int, int], Sequence[Any]]) -> None:
        self._count = count
        self._fetch = fetch

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, part: slice) -> Sequence[Any]:
        start, stop = part.start or 0, part.stop or self._count
        return self._fetch(start, stop - start) if stop > start else []


def paged(
    view: APIView,
    request: Request,
    count: int,
    fetch: Callable[[int, int], Sequence[Any]],
    *,
    shown: Callable[[Sequence[Any]], Any] | None = None,
) -> Response:
    """Answer with one page of rows.

    Parameters
    ----------
    fetch
        Takes offset and limit and gives the rows.
    shown
        Turns the rows of the page into what is answered; without it they are answered as they are.
    """
    pages = NumberedPages()
    rows: Any = pages.paginate_queryset(_Rows(count, fetch), request, view)  # type: ignore[arg-type]  # counts and slices like a query
    return pages.get_paginated_response(shown(rows) if shown else rows)


def paged_list(
    view: APIView,
    request: Request,
    rows: Sequence[Any],
    *,
    shown: Callable[[Sequence[Any]], Any] | None = None,
) -> Response:
    """Answer with one page of rows that are all at hand."""
    return paged(
        view, request, len(rows), lambda start, count: rows[start : start + count], shown=shown
    )
