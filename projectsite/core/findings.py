"""What the record says is wrong or worth a look, computed by registered pure rules.

A rule yields ``Finding``s from frozen snapshots. Each app registers one provider that
fetches the snapshots and runs its rules; pages, API and documents only show the result.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

from projectsite.core.scope import Scope


class Severity(IntEnum):
    """How much a finding holds up: in this order on every page."""

    LOOK = 10
    """Worth a look; holds nothing up."""
    DISAGREES = 20
    """Two facts in the record disagree; someone must decide."""
    HOLDS = 30
    """Holds turnover until it is settled."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What a finding is about: kind ("unit", "outlet", "flow-test", ...), id and tag."""

    kind: str
    id: int
    label: str
    unit_id: int | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding.

    Attributes
    ----------
    code
        ``<app label>.<kebab-name>``, never reused or renamed.
    message
        What is wrong, with the figures, in one sentence.
    action
        What to do next, in one sentence.
    values
        The compared values in SI, by name with unit suffix.
    reference
        Where the rule comes from.
    """

    code: str
    severity: Severity
    subject: Subject
    message: str
    action: str
    reference: str = ""
    values: Mapping[str, float | None] = field(default_factory=dict)


def sentence(text: str) -> str:
    """End a sentence with one full stop, also after a unit that ends in one.

    >>> sentence("at 0.004 in. w.c."), sentence("at 900 cfm"), sentence("at 0.004 in. w.c..")
    ('at 0.004 in. w.c.', 'at 900 cfm.', 'at 0.004 in. w.c.')
    """
    return text.rstrip(".") + "."


@dataclass(frozen=True, slots=True)
class Rule:
    """Entry of the table of all codes."""

    code: str
    title: str
    severity: Severity
    reference: str


Provider = Callable[[Scope, Sequence[int]], Iterable[Finding]]
_providers: dict[str, Provider] = {}
_rules: dict[str, Rule] = {}


def register(name: str, provider: Provider, rules: Iterable[Rule]) -> None:
    """Add an app's provider and declare the codes that it can yield.

    Raises
    ------
    ValueError
        When a name or a code is taken by another registration.
    """
    if _providers.get(name, provider) is not provider:
        raise ValueError(f"findings provider {name!r} is registered twice")
    for rule in rules:
        if _rules.get(rule.code, rule) != rule:
            raise ValueError(f"finding code {rule.code!r} is declared twice")
        _rules[rule.code] = rule
    _providers[name] = provider


def rules() -> list[Rule]:
    """All declared codes, by name."""
    return [_rules[code] for code in sorted(_rules)]


def collect(scope: Scope, unit_ids: Sequence[int]) -> list[Finding]:
    """Ask every provider about these units; the gravest first, then by subject and code."""
    found = [finding for provider in _providers.values() for finding in provider(scope, unit_ids)]
    return sorted(found, key=lambda f: (-f.severity, f.subject.label, f.code))


def by_unit(findings: Iterable[Finding]) -> Iterator[tuple[int, Finding]]:
    """Pair each finding that belongs to a unit with that unit's id."""
    for finding in findings:
        if finding.subject.unit_id is not None:
            yield finding.subject.unit_id, finding
