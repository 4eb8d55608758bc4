"""Recorded numbers of queries: a page that needs one more than before says so.

Refresh them on purpose with ``PLENUM_RECORD=1``.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

RECORD = Path(__file__).parent / "db" / "query_counts.json"
Recorder = Callable[[str], AbstractContextManager[None]]


def _recorded() -> dict[str, int]:
    known: dict[str, int] = json.loads(RECORD.read_text()) if RECORD.exists() else {}
    return known


@contextmanager
def _counted(name: str) -> Iterator[None]:
    with CaptureQueriesContext(connection) as captured:
        yield
    found = len(captured)
    known = _recorded()
    if os.environ.get("PLENUM_RECORD"):
        RECORD.write_text(json.dumps(dict(sorted({**known, name: found}.items())), indent=2) + "\n")
        return
    assert name in known, f"{name} has no recorded number of queries; run once with PLENUM_RECORD=1"
    listed = "\n".join(query["sql"][:200] for query in captured)
    assert found == known[name], f"{name}: {found} queries, recorded {known[name]}:\n{listed}"


@pytest.fixture
def recorded_queries() -> Recorder:
    """Give a context that compares the queries inside it with the recorded number."""
    return _counted
