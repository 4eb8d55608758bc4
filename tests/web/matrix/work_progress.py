"""Addresses of the progress."""

from __future__ import annotations

from tests.web.matrix import Entry, api, page

ENTRIES = [
    Entry("work:progress", page()),
    Entry("work:project-progress-panel", page()),
    Entry("work-api:progress", api()),
]
