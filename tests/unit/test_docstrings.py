"""Public functions of the pure modules say their parameters, units, errors and source."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

PACKAGES = (
    "balancing.airflow.domain",
    "zones.inventory.domain",
    "projectsite.accounts.domain",
    "reports.domain",
)
FORMULA_MODULES = (
    "balancing.airflow.domain.air",
    "balancing.airflow.domain.amplification",
    "balancing.airflow.domain.fit",
    "balancing.airflow.domain.outlets",
    "balancing.airflow.domain.sensor",
    "balancing.airflow.domain.traverse",
    "balancing.airflow.domain.uncertainty",
    "balancing.airflow.domain.verdict",
)
HEADING = re.compile(r"^([A-Z][a-z]+)\n-+$", re.MULTILINE)
NUMERIC = re.compile(r"float|int\b|Numbers|Array")


def modules() -> Iterator[str]:
    for package in PACKAGES:
        found = importlib.import_module(package)
        yield package
        for item in pkgutil.walk_packages(found.__path__, f"{package}."):
            yield item.name


def functions(names: Iterator[str] | tuple[str, ...]) -> list[Any]:
    return [
        pytest.param(function, id=f"{name}.{function.__name__}")
        for name in names
        for _, function in inspect.getmembers(importlib.import_module(name), inspect.isfunction)
        if function.__module__ == name and not function.__name__.startswith("_")
    ]


def sections(function: Callable[..., Any]) -> dict[str, str]:
    parts = HEADING.split(inspect.getdoc(function) or "")
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def described(section: str) -> dict[str, str]:
    """Parameter names with their text; "over, under" share one text."""
    found: dict[str, str] = {}
    current: list[str] = []
    for line in section.strip().splitlines():
        if line and not line.startswith(" "):
            current = [name.strip() for name in line.split(",")]
            found.update(dict.fromkeys(current, ""))
        else:
            for name in current:
                found[name] += f" {line.strip()}"
    return found


@pytest.mark.parametrize("function", functions(modules()))
def test_described_parameters_are_those_of_the_signature(function: Callable[..., Any]) -> None:
    told = sections(function)
    assert told[""].strip()
    # A description may leave out what its name and type say, but never name what is not there.
    named = list(described(told.get("Parameters", "")))
    signature = list(inspect.signature(function).parameters)
    assert named == [name for name in signature if name in named]


@pytest.mark.parametrize("function", functions(FORMULA_MODULES))
def test_formulas_are_described_in_full(function: Callable[..., Any]) -> None:
    told = sections(function)
    assert {"Parameters", "Returns", "Raises", "References", "Examples"} <= set(told)
    texts = described(told["Parameters"])
    assert list(texts) == list(inspect.signature(function).parameters)
    for name, parameter in inspect.signature(function).parameters.items():
        if NUMERIC.search(str(parameter.annotation)):
            assert re.search(r"\[[^\]]+\]", texts[name]), f"{name} has no unit"
    returned = str(inspect.signature(function).return_annotation)
    if NUMERIC.search(returned):
        assert re.search(r"\[[^\]]+\]", told["Returns"]), "the result has no unit"
    assert ">>>" in told["Examples"]


def test_every_formula_module_is_looked_at() -> None:
    assert set(FORMULA_MODULES) <= set(modules())
