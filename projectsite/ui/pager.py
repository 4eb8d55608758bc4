"""Links to the other pages of a list and to its files, formatted here like the tables."""

from __future__ import annotations

from html import escape

from django.utils.safestring import SafeString, mark_safe

from projectsite.ui.icons import icon_drawing
from projectsite.ui.lists import Listing


def pager(listing: Listing, noun: str = "rows") -> SafeString:
    """Draw the count of a list, the links to its other pages and those to its files."""
    files = "".join(
        f'<a href="{escape(link)}">{icon_drawing("download")} {name}</a>'
        for name, link in listing.export_links().items()
    )
    is_paged = listing.pages > 1
    of = f"{listing.first}–{listing.last} of " if is_paged else ""
    return mark_safe(  # noqa: S308  # words and addresses are escaped where they are put in
        '<div class="pager">'
        f'<span class="count" data-announce>{of}{listing.total} {escape(noun)}</span>'
        f"{_page_links(listing) if is_paged else ''}"
        f'<span class="files">{files}</span></div>'
    )


def _page_links(listing: Listing) -> str:
    before, after = listing.previous_link, listing.next_link
    back = f'<a rel="prev" href="{escape(before)}">{icon_drawing("back")} Before</a>'
    forward = f'<a rel="next" href="{escape(after)}">Next {icon_drawing("forward")}</a>'
    numbers = "".join(_page_link(listing, number, link) for number, link in listing.page_links)
    return (
        f'<nav aria-label="Pages of the list">{back if before else ""}{numbers}'
        f"{forward if after else ''}</nav>"
    )


def _page_link(listing: Listing, number: int | None, link: str) -> str:
    if number is None:
        return '<span class="gap" aria-hidden="true">…</span>'
    current = ' aria-current="page"' if number == listing.page else ""
    return f'<a href="{escape(link)}"{current}><span class="sr">Page </span>{number}</a>'
