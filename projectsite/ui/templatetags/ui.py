"""Formatting for templates: quantities, marks, findings, lists. No queries, no decisions."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from html import escape
from typing import Any, cast
from zoneinfo import ZoneInfo

from django import template
from django.template import Context
from django.utils.safestring import SafeString, mark_safe

from projectsite.core import units
from projectsite.core.findings import Severity
from projectsite.core.quantities import KINDS
from projectsite.core.scope import UnitSystem
from projectsite.ui import marks
from projectsite.ui.icons import icon_drawing
from projectsite.ui.lists import Listing
from projectsite.ui.pager import pager

register = template.Library()
register.simple_tag(pager)


def _system(context: Mapping[str, Any] | Context) -> UnitSystem:
    return "si" if context.get("units") == "si" else "ip"


@register.simple_tag(takes_context=True)
def quantity(context: Context, value: float | None, kind: str) -> SafeString:
    """Print an SI value in the reader's unit, with the unit."""
    text = escape(units.show(value, kind, _system(context)))
    symbol = escape(units.unit_symbol(kind, _system(context))) if value is not None else ""
    unit = f' <span class="u">{symbol}</span>' if symbol else ""
    return mark_safe(f'<span class="q">{text}{unit}</span>')  # noqa: S308  # escaped above


@register.simple_tag(takes_context=True)
def number(context: Context, value: float | None, kind: str) -> str:
    """Print an SI value in the reader's unit, the unit standing elsewhere."""
    return units.show(value, kind, _system(context))


@register.simple_tag(takes_context=True)
def unit(context: Context, kind: str) -> str:
    """Print the reader's unit of a kind."""
    return units.unit_symbol(kind, _system(context))


@register.simple_tag(takes_context=True)
def term(context: Context, entry: tuple[str, float | str | None, str]) -> SafeString:
    """Print a term of a working: its name, and its value with the unit."""
    name, value, kind = entry
    if isinstance(value, str) or kind not in KINDS:
        shown = "—" if value is None else str(value)
    else:
        shown = units.show(value, kind, _system(context), with_unit=True)
    return mark_safe(f"<i>{escape(name)}</i> = {escape(shown)}")  # noqa: S308  # escaped


@register.simple_tag
def mark(state: str, word: str) -> SafeString:
    """Draw one of the four state marks with its word."""
    return marks.mark(cast("marks.State", state), word)


@register.simple_tag
def mark_drawing(state: str) -> SafeString:
    """Draw a state mark whose word stands nearby."""
    return marks.drawing(cast("marks.State", state))


@register.simple_tag
def finding_mark(severity: Severity) -> SafeString:
    """Draw the mark of a finding's severity, without its word."""
    return marks.drawing(marks.SEVERITY_STATE[severity])


@register.filter
def severity_word(severity: Severity) -> str:
    """Word of a finding's severity."""
    return marks.SEVERITY_WORD[severity]


@register.simple_tag
def finding_badge(severity: Severity) -> SafeString:
    """Draw the mark and the word of a finding's severity."""
    shown = marks.severity_mark(severity)
    return marks.mark(shown.state, shown.word)


@register.simple_tag
def delta(revision: int | str, text: str = "") -> SafeString:
    """Draw the numbered triangle of a revision."""
    return marks.delta(revision, text)


@register.simple_tag
def icon(name: str) -> SafeString:
    """Draw a small line icon; the words stand beside it."""
    return icon_drawing(name)


@register.simple_tag(takes_context=True)
def when(context: Context, moment: datetime | date | None) -> SafeString:
    """Print a date, or a time in the project's time zone, as 2026-11-25 14:05."""
    if moment is None:
        return mark_safe("—")
    if not isinstance(moment, datetime):
        return mark_safe(f'<time datetime="{moment.isoformat()}">{moment.isoformat()}</time>')  # noqa: S308  # digits
    zone = context.get("project_zone")
    shown = moment.astimezone(ZoneInfo(zone)) if zone and moment.tzinfo else moment
    text = shown.strftime("%Y-%m-%d %H:%M")
    return mark_safe(f'<time datetime="{shown.isoformat()}">{text}</time>')  # noqa: S308  # digits


@register.simple_tag
def sort_link(listing: Listing, key: str, label: str) -> SafeString:
    """Draw a link that orders a list by a column, for lists that are not tables."""
    arrow = ""
    if listing.sort_key == key:
        arrow = f' <span aria-hidden="true">{"↓" if listing.is_descending else "↑"}</span>'
    address = escape(listing.sort_link(key))
    return mark_safe(f'<a href="{address}">{escape(label)}{arrow}</a>')  # noqa: S308  # escaped


@register.filter
def widget_kind(bound_field: Any) -> str:
    """Name of a form field's control: text, checkbox, select, choices, area, file or date."""
    name = type(bound_field.field.widget).__name__.lower()
    for kind, words in (
        ("choices", ("radioselect", "checkboxselectmultiple")),
        ("checkbox", ("checkboxinput",)),
        ("area", ("textarea",)),
        ("file", ("file",)),
        ("select", ("select",)),
    ):
        if any(word in name for word in words):
            return kind
    return "text"
