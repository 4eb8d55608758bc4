"""States of the marks that documents show."""

from __future__ import annotations

from typing import Literal

MarkState = Literal["wait", "look", "done", "hold"]
