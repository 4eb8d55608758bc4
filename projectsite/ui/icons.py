"""A few line icons, 16 px, drawn for this program; words always stand beside them."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.safestring import SafeString, mark_safe

_PATHS: Mapping[str, str] = {
    "add": "M8 3v10M3 8h10",
    "back": "M10 3 5 8l5 5",
    "forward": "M6 3l5 5-5 5",
    "up": "M3 10l5-5 5 5",
    "down": "M3 6l5 5 5-5",
    "close": "M4 4l8 8M12 4l-8 8",
    "search": "M7 2.5a4.5 4.5 0 1 1 0 9 4.5 4.5 0 0 1 0-9zM10.4 10.4 14 14",
    "download": "M8 2v8M4.5 7 8 10.5 11.5 7M2.5 13.5h11",
    "upload": "M8 11V3M4.5 6 8 2.5 11.5 6M2.5 13.5h11",
    "edit": "M3 13l.6-2.9L11 2.7l2.3 2.3-7.4 7.4zM9.4 4.3l2.3 2.3",
    "print": "M4.5 6V2.5h7V6M4.5 11.5h-2V6h11v5.5h-2M4.5 9.5h7v4h-7z",
    "copy": "M5.5 5.5h8v8h-8zM10.5 5.5v-3h-8v8h3",
    "filter": "M2 3.5h12M4.5 8h7M6.5 12.5h3",
    "photo": "M2 4.5h3l1-2h4l1 2h3v9H2zM8 6.5a2.3 2.3 0 1 1 0 4.6 2.3 2.3 0 0 1 0-4.6z",
    "warning": "M8 2 15 14H1zM8 6.5v3.5M8 11.6v.9",
}


def icon_drawing(name: str) -> SafeString:
    """Draw an icon; KeyError names one that does not exist."""
    return mark_safe(  # noqa: S308  # constants
        '<svg class="icon" viewBox="0 0 16 16" width="16" height="16" fill="none" '
        'stroke="currentColor" stroke-width="1.5" stroke-linejoin="round" stroke-linecap="round" '
        f'aria-hidden="true"><path d="{_PATHS[name]}"/></svg>'
    )
