"""The formulas against check values; source and mark stand in each row of the files."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from balancing.airflow.domain import registry, traverse
from projectsite.core import calculators
from projectsite.core.calculators import Given
from projectsite.core.scope import UnitSystem
from tests.published import rows

registry.register_all()

POSITIONS: dict[str, Callable[[float, int], tuple[float, ...]]] = {
    "rectangular-log-tchebycheff": traverse.rectangular_log_tchebycheff,
    "rectangular-equal-area": traverse.rectangular_equal_area,
    "round-log-linear": traverse.round_log_linear,
    "round-log-tchebycheff": traverse.round_log_tchebycheff,
    "round-equal-area": traverse.round_equal_area,
}


@pytest.mark.parametrize("row", rows("calculators"), ids=lambda row: row["case"])
def test_calculator_gives_the_check_value(row: dict[str, str]) -> None:
    given: dict[str, Given] = {}
    for pair in row["inputs"].split("|"):
        key, _, given[key] = pair.partition("=")
    system: UnitSystem = "si" if row["system"] == "si" else "ip"
    answer = calculators.calculate(row["formula"], given, system=system).as_dict()
    value = answer["outputs"][row["output"]]["value"]
    values = value if isinstance(value, list) else [value]
    expected = [float(number) for number in row["expected"].split()]
    assert values == pytest.approx(expected, rel=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("traverse_positions"), ids=lambda row: row["case"])
def test_traverse_positions(row: dict[str, str]) -> None:
    got = POSITIONS[row["rule"]](1.0, int(row["points"]))
    expected = [float(number) for number in row["expected"].split()]
    assert got == pytest.approx(expected, abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("traverse_positions"), ids=lambda row: row["case"])
def test_positions_are_symmetric(row: dict[str, str]) -> None:
    # Catches 0.32 for 0.032 and 0.981 for 0.979, which stand in published tables.
    got = POSITIONS[row["rule"]](1.0, int(row["points"]))
    assert [a + b for a, b in zip(got, reversed(got), strict=True)] == pytest.approx(
        [1.0] * len(got), abs=1e-9
    )


def test_every_formula_is_checked() -> None:
    assert {row["formula"] for row in rows("calculators")} == {
        formula.name for formula in registry.FORMULAS
    }
