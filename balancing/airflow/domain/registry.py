"""The airflow formulas as field calculators: inputs, outputs and working of each."""

from __future__ import annotations

from balancing.airflow.domain import (
    calculators_fit,
    calculators_flow,
    calculators_sure,
)
from projectsite.core.formulas import Formula, register

FORMULAS: tuple[Formula, ...] = (
    *calculators_flow.FORMULAS,
    *calculators_fit.FORMULAS,
    *calculators_sure.FORMULAS,
)


def register_all() -> None:
    """Make the formulas known to calculators, API and command."""
    register(*FORMULAS)
