"""What the pages of the schedule share. No queries, no decisions."""

from __future__ import annotations

from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe

from projectsite.ui.context import address_of

register = template.Library()

_TABS = (
    ("units", "Terminal units"),
    ("air-handlers", "Air handlers"),
    ("zones", "Zones"),
    ("imports", "Imports"),
)


@register.simple_tag
def schedule_tabs(project_key: str, here: str) -> SafeString:
    """Draw the lists of the schedule beside each other; ``here`` names the open one."""
    links = []
    for name, label in _TABS:
        current = ' aria-current="page"' if name == here.replace(" ", "-") else ""
        address = escape(address_of(f"inventory:{name}", project_key))
        links.append(f'<a href="{address}"{current}>{label}</a>')
    return mark_safe(f'<nav class="tabs" aria-label="Schedule">{" ".join(links)}</nav>')  # noqa: S308  # escaped
