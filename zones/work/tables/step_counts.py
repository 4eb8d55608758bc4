"""Counts of steps by trade and state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from projectsite.ui.columns import Column
from projectsite.ui.tables import Table
from zones.work.domain.board import State
from zones.work.tables.cells import WORDS


def counts_table(caption: str, rows: Sequence[Mapping[str, Any]], states: Sequence[State]) -> Table:
    """Give a line for each trade and a column for each state, with totals."""
    columns = (
        Column("trade", "Trade"),
        *(Column(s.name, WORDS[s].capitalize(), "count", total=sum) for s in states),
    )
    return Table(caption, columns, rows)
