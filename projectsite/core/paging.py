"""Paging of API lists."""

from __future__ import annotations

from rest_framework.pagination import PageNumberPagination


class NumberedPages(PageNumberPagination):
    """Pages by number; up to 1,000 rows a page."""

    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 1000
