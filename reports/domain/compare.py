"""Which figures changed from one issue to the next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

from projectsite.core.numeric import same
from reports.domain.dossier import Dossier, PointData, TestData, UnitData, Verdict


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure or word that differs; values in SI where ``kind`` names a quantity."""

    subject: str
    what: str
    kind: str
    old: float | str | None
    new: float | str | None


def compare(old: Dossier, new: Dossier) -> list[Difference]:
    """List what differs between two dossiers of the same subject, unit by unit.

    Conversion noise is no difference; units come in the order of the newer dossier, units
    that were dropped last.
    """
    found = list(_facts("project", old.project.tolerances, new.project.tolerances, "tolerance, "))
    before = {unit.tag: unit for unit in old.units}
    for unit in new.units:
        earlier = before.pop(unit.tag, None)
        if earlier is None:
            found.append(Difference(unit.tag, "terminal unit", "", None, "added"))
        else:
            found.extend(_units(earlier, unit))
    found.extend(
        Difference(tag, "terminal unit", "", "listed", "no longer listed") for tag in before
    )
    return found


def _units(old: UnitData, new: UnitData) -> Iterator[Difference]:
    tag = new.tag
    yield from _facts(tag, old, new)
    yield from _words(tag, "state", old.state.word, new.state.word)
    outlets = {outlet.tag: outlet for outlet in old.outlets}
    for outlet in new.outlets:
        earlier = outlets.pop(outlet.tag, None)
        if earlier is None:
            yield Difference(tag, f"outlet {outlet.tag}", "", None, "added")
        else:
            yield from _facts(tag, earlier, outlet, f"outlet {outlet.tag}, ")
    for dropped in outlets:
        yield Difference(tag, f"outlet {dropped}", "", "listed", "no longer listed")
    yield from _tests(tag, old.test, new.test)
    open_before = {finding.message for finding in old.findings}
    open_now = {finding.message for finding in new.findings}
    for message in sorted(open_before - open_now):
        yield Difference(tag, "open item", "", message, "settled")
    for message in sorted(open_now - open_before):
        yield Difference(tag, "open item", "", None, message)


def _tests(tag: str, old: TestData | None, new: TestData | None) -> Iterator[Difference]:
    if old is None or new is None:
        yield from _words(tag, "flow test", _name(old), _name(new))
        return
    yield from _words(tag, "flow test", _name(old), _name(new))
    yield from _facts(tag, old, new)
    before = {(p.round, p.setpoint): p for p in old.points}
    for point in new.points:
        earlier = before.pop((point.round, point.setpoint), None)
        prefix = f"{_round(point)} at {point.label}, "
        if earlier is None:
            yield Difference(tag, f"{prefix}measured", "airflow", None, point.measured_m3_s)
        else:
            yield from _facts(tag, earlier, point, prefix)
            yield from _words(tag, f"{prefix}verdict", earlier.verdict.word, point.verdict.word)
    for point in before.values():
        prefix = f"{_round(point)} at {point.label}, "
        yield Difference(tag, f"{prefix}measured", "airflow", point.measured_m3_s, None)


def _round(point: PointData) -> str:
    return point.round.replace("-", " ")


def _name(test: TestData | None) -> str | None:
    return None if test is None else f"{test.number}, {test.tested_date}"


def _words(tag: str, what: str, old: str | None, new: str | None) -> Iterator[Difference]:
    if old != new:
        yield Difference(tag, what, "", old, new)


def _facts(tag: str, old: Any, new: Any, prefix: str = "") -> Iterator[Difference]:
    """Compare the labelled fields of two records of one type."""
    for item in fields(new):
        label: Mapping[Any, Any] = item.metadata
        if "label" not in label:
            continue
        a, b = getattr(old, item.name), getattr(new, item.name)
        if isinstance(b, Verdict):
            yield from _words(tag, prefix + label["label"], a.word, b.word)
        elif label["kind"]:
            if not same(a, b):
                yield Difference(tag, prefix + label["label"], label["kind"], a, b)
        elif a != b:
            yield Difference(tag, prefix + label["label"], "", _text(a), _text(b))


def _text(value: Any) -> str | None:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return None if value is None or value == "" else str(value)
