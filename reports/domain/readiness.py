"""What is missing before a document may be issued."""

from __future__ import annotations

from dataclasses import dataclass

from projectsite.core.findings import Severity
from reports.domain.dossier import Dossier

SHOWN = 12
"""Tags that a sentence names before it counts the rest."""


@dataclass(frozen=True, slots=True)
class Readiness:
    """``missing`` forbids the issue; ``open_items`` may go out when a note says so."""

    missing: tuple[str, ...]
    open_items: tuple[str, ...]


def readiness(dossier: Dossier) -> Readiness:
    """Judge a dossier of current data.

    A sheet needs an accepted test at the airflows that are scheduled now. A report needs one
    such test at least and may go out with units open; a point list may go out with blanks.
    """
    kind, units = dossier.frame.kind, dossier.units
    if kind == "point-list":
        blank = [unit.tag for unit in units if unit.device_instance is None]
        open_items = (f"No device instance: {listed(blank)}.",) if blank else ()
        return Readiness((), open_items)
    if kind == "label-sheet":
        return Readiness(("Labels are printed from a draft; there is nothing to issue.",), ())
    if kind in {"progress-report", "punch-list", "checkout-sheets", "floor-plan"}:
        return Readiness((), ())
    untested = [unit.tag for unit in units if unit.test is None]
    stale = [unit.tag for unit in units if unit.state.word == "out of date"]
    pending = [
        unit.tag
        for unit in units
        if unit.test is not None and unit.state.state != "done" and unit.tag not in stale
    ]
    holding = [
        unit.tag
        for unit in units
        if any(item.severity >= Severity.HOLDS for item in unit.findings)
        and unit.tag not in {*untested, *stale, *pending}
    ]
    lacking = [
        f"{words}: {listed(tags)}."
        for words, tags in (
            ("Not tested", untested),
            ("Test not accepted yet", pending),
            ("Tested before the schedule changed", stale),
        )
        if tags
    ]
    held = [f"Open items that hold turnover: {listed(holding)}."] if holding else []
    nothing_accepted = all(unit.state.state != "done" for unit in units)
    if kind == "unit-balance" or nothing_accepted:
        return Readiness(tuple(lacking), tuple(held))
    return Readiness((), (*lacking, *held))


def listed(tags: list[str]) -> str:
    """Name tags, and count what does not fit.

    >>> listed(["A", "B"]), listed([str(i) for i in range(14)])
    ('A, B', '0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 2 more')
    """
    rest = len(tags) - SHOWN
    return ", ".join(tags[:SHOWN]) + (f" and {rest} more" if rest > 0 else "")
