"""API of people and projects."""

from __future__ import annotations

from projectsite.accounts.api import description

__all__ = ["description"]
