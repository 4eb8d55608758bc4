"""The habits of the house that no linter knows."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("projectsite", "zones", "balancing", "network", "reports")
MODULE_LINES = 400
# The formatter spreads one call over many lines, so a view's statements are counted.
VIEW_STATEMENTS = 15


def _modules() -> Iterator[Path]:
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_there_is_no_utils_module() -> None:
    assert [_name(p) for p in _modules() if p.stem in {"utils", "helpers", "common", "misc"}] == []


def test_modules_keep_to_their_length() -> None:
    long = {_name(p): len(p.read_text(encoding="utf-8").splitlines()) for p in _modules()}
    assert {name: lines for name, lines in long.items() if lines > MODULE_LINES} == {}


@pytest.mark.parametrize("kind", ["views", "api"])
def test_edges_stay_thin(kind: str) -> None:
    found: dict[str, int] = {}
    for path in _modules():
        if kind not in (path.stem, path.parent.name):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and _is_edge(node):
                statements = sum(isinstance(inner, ast.stmt) for inner in ast.walk(node)) - 1
                if statements - bool(ast.get_docstring(node)) > VIEW_STATEMENTS:
                    found[f"{_name(path)}:{node.name}"] = statements
    assert found == {}


def _is_edge(node: ast.FunctionDef) -> bool:
    """A view takes a request first; a method of an API view takes one second."""
    names = [argument.arg for argument in node.args.args]
    return names[:1] == ["request"] or names[:2] == ["self", "request"]


def test_top_level_holds_what_was_agreed() -> None:
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "requirements.txt",
        *PACKAGES,
        "tests",
        "fixtures",
        "var",
    }
    seen = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert seen - agreed == set()
    assert {"README.md", "DEVELOPERS.md", "manage.py", "requirements.txt"} <= seen
