"""Filter bars over lists, formatted here like the tables: they stand on every page of a list."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from django.utils.safestring import SafeString, mark_safe

from projectsite.ui.icons import icon_drawing
from projectsite.ui.lists import Listing
from zones.inventory.domain.fields import FANS, HEATS
from zones.inventory.filters.address import Read
from zones.inventory.queries import Options


def _listed(options: Iterable[tuple[object, str]], value: str = "") -> str:
    return "".join(
        f'<option value="{escape(str(key))}"{" selected" if str(key) == value else ""}>'
        f"{escape(text)}</option>"
        for key, text in options
    )


def choices(options: Iterable[tuple[object, str]], none: str) -> SafeString:
    """Give the options of a field whose empty value has these words."""
    return mark_safe(f'<option value="">{escape(none)}</option>{_listed(options)}')  # noqa: S308  # escaped


def _choose(name: str, label: str, value: str, options: Iterable[tuple[object, str]]) -> str:
    listed = _listed(options, value)
    if not listed:
        return ""
    return (
        f"<label><span>{escape(label)}</span>"
        f'<select name="{name}"><option value="">all</option>{listed}</select></label>'
    )


def search(value: str, label: str = "Search", hint: str = "") -> str:
    """Give the search field; ``/`` jumps to it."""
    return (
        f"<label><span>{escape(label)}</span>"
        f'<input type="search" name="q" value="{escape(value)}" placeholder="{escape(hint)}" '
        'maxlength="200" autocomplete="off"></label>'
    )


def tick(name: str, label: str, *, is_on: bool) -> str:
    """Give a yes-or-no filter."""
    checked = " checked" if is_on else ""
    return (
        f'<label class="tick"><span>{escape(label)}</span>'
        f'<input type="checkbox" name="{name}" value="yes"{checked}></label>'
    )


def bar(listing: Listing, read: Read, *parts: str, keep: Iterable[str] = ()) -> SafeString:
    """Give the whole bar; ``keep`` names parameters that it carries along unseen."""
    carried = [*listing.kept, *((k, v) for k, v in listing.pairs if k in set(keep))]
    hidden = "".join(
        f'<input type="hidden" name="{escape(key)}" value="{escape(value)}">'
        for key, value in carried
    )
    problems = "".join(
        f'<span class="wrong">{escape(name)}: {escape(text)}</span>'
        for name, text in read.problems.items()
    )
    clear = '<a href="?">Clear</a>' if listing.is_filtered else ""
    return mark_safe(  # noqa: S308  # every value is escaped where it is put in
        f'<form method="get" class="filters" role="search" data-auto-submit>{hidden}'
        f'{"".join(parts)}{problems}<span class="actions">'
        f'<button class="btn quiet" type="submit">{icon_drawing("search")} Show</button>{clear}'
        "</span></form>"
    )


def unit_filter_bar(listing: Listing, read: Read, options: Options) -> SafeString:
    """Filters of the list of units."""

    def given(name: str) -> str:
        return str(read.values.get(name, ""))

    return bar(
        listing,
        read,
        search(given("q"), "Search", "tag, location, zone, note"),
        _choose("air_handler", "Air handler", given("air_handler"), options.air_handlers),
        _choose("floor", "Floor", given("floor"), ((f, f) for f in options.floors)),
        _choose("heat", "Reheat", given("heat"), HEATS),
        _choose("fan", "Fan", given("fan"), FANS),
        _choose("inlet", "Inlet", given("inlet"), ((i, i) for i in options.inlet_labels)),
        _choose(
            "controller_model",
            "Controller model",
            given("controller_model"),
            options.controller_models,
        ),
        _choose(
            "revision",
            "Changed by",
            given("revision"),
            ((number, f"{number} · {label}") for number, label in options.revisions),
        ),
        tick("archived", "archived", is_on=read.is_on("archived")),
        keep=("columns", "zone"),
    )


def simple_bar(
    listing: Listing, read: Read, *, hint: str, floors: Iterable[str] = ()
) -> SafeString:
    """Search, floor and archived: enough for a short list."""
    value = str(read.values.get("floor", ""))
    return bar(
        listing,
        read,
        search(str(read.values.get("q", "")), "Search", hint),
        _choose("floor", "Floor", value, ((f, f) for f in floors)),
        tick("archived", "archived", is_on=read.is_on("archived")),
    )
