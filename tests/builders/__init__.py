"""Builders: plain functions that store one valid record, with every value open to change.

Each concern has its own module; what most tests need is named here too.
"""

from __future__ import annotations

from tests.builders.accounts import (
    PASSWORD,
    Cast,
    make_cast,
    make_membership,
    make_project,
    make_token,
    make_user,
)

__all__ = [
    "PASSWORD",
    "Cast",
    "make_cast",
    "make_membership",
    "make_project",
    "make_token",
    "make_user",
]
