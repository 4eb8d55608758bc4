"""Judging what was seen of a checkout point, and saying why.

Missing data is never a pass: a point without a reading, a reference or a limit is not judged.

Reference: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from projectsite.core.numeric import at_least, at_most

Verdict = Literal["", "pass", "fail"]
Show = Callable[[float, str], str]
"""Prints an SI value of a kind of quantity with its unit."""

_DIFFERENCES: Mapping[str, str] = {"temperature": "temperature_difference"}
_SOURCES: Mapping[str, str] = {
    "mac-address": "The unit has no MAC address recorded; record it first.",
    "device-instance": "The unit has no device instance recorded; record it first.",
}


@dataclass(frozen=True, slots=True)
class PointFacts:
    """What a checkout point asks for.

    Attributes
    ----------
    kind
        "sensor", "range", "match" or "confirm".
    quantity
        Kind of quantity of the observed value; "" for text and for what is only seen.
    tolerance_si
        Allowed difference from the reference [SI unit of the quantity's difference, >= 0].
    low_si, high_si
        Limits, both allowed [SI unit of the quantity]; None leaves a side open.
    expected
        Text or whole number that has to be read.
    source
        Where the expected value comes from: "mac-address", "device-instance", or "" as written.
    """

    kind: str
    quantity: str = ""
    tolerance_si: float | None = None
    low_si: float | None = None
    high_si: float | None = None
    expected: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """What somebody saw of a point; in SI, None and "" while not seen."""

    observed_si: float | None = None
    reference_si: float | None = None
    observed_text: str = ""
    is_right: bool | None = None


def difference_kind(quantity: str) -> str:
    """Kind of quantity of the difference of two values of this kind.

    >>> difference_kind("temperature"), difference_kind("pressure")
    ('temperature_difference', 'pressure')
    """
    return _DIFFERENCES.get(quantity, quantity)


def judge(point: PointFacts, seen: Seen) -> Verdict:
    """Tell whether a point passes, fails or can't be judged yet ("").

    A "sensor" passes when the reading is within ``tolerance_si`` of the reference, a "range"
    when the value lies within its limits (both compared without noise of conversion), a "match"
    when the text, or the whole number that it stands for, is the expected one, a "confirm" when
    it was seen and right.

    Raises
    ------
    ValueError
        The kind of point is unknown.

    >>> judge(PointFacts("range", low_si=20.4, high_si=28.8), Seen(observed_si=20.4))
    'pass'
    """
    if _missing(point, seen):
        return ""
    return "pass" if _is_good(point, seen) else "fail"


def explain(point: PointFacts, seen: Seen, show: Show) -> str:
    """Say in one sentence why a point passes or fails, or what it waits for.

    Parameters
    ----------
    show
        Prints an SI value of a kind of quantity with its unit, as the reader reads it.
    """
    missing = _missing(point, seen)
    if missing:
        return missing
    is_good = _is_good(point, seen)
    if point.kind == "confirm":
        return "Seen and right." if is_good else "Seen, and it is wrong."
    if point.kind == "match":
        told = f"It reads {seen.observed_text.strip()}"
        return f"{told}, as expected." if is_good else f"{told}; {point.expected} is expected."
    observed = show(seen.observed_si or 0.0, point.quantity)
    if point.kind == "range":
        return f"{observed} is {'within' if is_good else 'outside'} {limits(point, show)}."
    apart = abs((seen.observed_si or 0.0) - (seen.reference_si or 0.0))
    kind = difference_kind(point.quantity)
    allowed = show(point.tolerance_si or 0.0, kind)
    return (
        f"It reads {observed}, the reference {show(seen.reference_si or 0.0, point.quantity)}: "
        f"{show(apart, kind)} apart, {'within' if is_good else 'more than'} the {allowed} "
        "that are allowed."
    )


def asked(point: PointFacts, show: Show) -> str:
    """Say in a few words what is expected of a point."""
    if point.kind == "sensor":
        if point.tolerance_si is None:
            return "the reference"
        return f"the reference ± {show(point.tolerance_si, difference_kind(point.quantity))}"
    if point.kind == "range":
        return limits(point, show)
    if point.kind == "match":
        return point.expected or "not recorded yet"
    return "seen and right"


def limits(point: PointFacts, show: Show) -> str:
    """Print the limits of a "range" point."""
    if point.low_si is None and point.high_si is None:
        return "no limits"
    if point.low_si is None:
        return f"up to {show(point.high_si or 0.0, point.quantity)}"
    if point.high_si is None:
        return f"{show(point.low_si, point.quantity)} or more"
    return f"{show(point.low_si, point.quantity)} to {show(point.high_si, point.quantity)}"


def _missing(point: PointFacts, seen: Seen) -> str:
    """What keeps a point from being judged; "" when nothing does."""
    if point.kind not in ("sensor", "range", "match", "confirm"):
        raise ValueError(f"there is no kind of checkout point {point.kind!r}")
    if gap := _gap(point):
        return gap
    if point.kind == "confirm":
        return "Not seen yet." if seen.is_right is None else ""
    is_read = seen.observed_text.strip() if point.kind == "match" else seen.observed_si is not None
    if not is_read:
        return "Not read yet."
    if point.kind == "sensor" and seen.reference_si is None:
        return "The reference reading is missing."
    return ""


def _gap(point: PointFacts) -> str:
    """What the list or the unit must say before anything can be judged; "" when it does."""
    if point.kind == "match" and not point.expected.strip():
        return _SOURCES.get(point.source, "The checkout list does not say what is expected.")
    if point.kind == "range" and point.low_si is None and point.high_si is None:
        return "The checkout list gives no limits."
    if point.kind == "sensor" and point.tolerance_si is None:
        return "The checkout list gives no allowed difference."
    return ""


def _is_good(point: PointFacts, seen: Seen) -> bool:
    if point.kind == "confirm":
        return bool(seen.is_right)
    if point.kind == "match":
        return _plain(seen.observed_text) == _plain(point.expected)
    value = seen.observed_si or 0.0
    if point.kind == "range":
        return (point.low_si is None or at_least(value, point.low_si)) and (
            point.high_si is None or at_most(value, point.high_si)
        )
    return at_most(abs(value - (seen.reference_si or 0.0)), point.tolerance_si or 0.0)


def _plain(text: str) -> str:
    """Text to compare: "007" and "7" are the same whole number, letters' case is no matter."""
    folded = " ".join(text.split()).casefold()
    return str(int(folded)) if folded.isascii() and folded.isdigit() else folded
