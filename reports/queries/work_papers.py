"""Sections of the documents of the work, out of the record as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from projectsite.core.scope import Scope
from reports.domain.blocks import SectionData

KINDS = frozenset({"progress-report", "punch-list", "checkout-sheets"})
"""Kinds of document that are made of sections."""


def sections(
    scope: Scope, kind: str, unit_ids: Sequence[int], *, trade: str, day: date
) -> tuple[SectionData, ...]:
    """Give the sections of a document about these units."""
    raise NotImplementedError
