"""What the address of the progress says."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.http import QueryDict

from zones.work.domain import words
from zones.work.domain.progress import Shape
from zones.work.forms.grid import ids_in
from zones.work.queries.progress import Progress, ProgressFilter

SHAPES: tuple[tuple[Shape, str], ...] = (("s", "slow at both ends"), ("even", "evenly"))
"""How the hours of a planned period are spread over it."""


class ProgressForm(forms.Form):
    """Filters of the progress, and how planned hours are spread."""

    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.ChoiceField(label="Air handler", required=False)
    trade = forms.ChoiceField(label="Trade", required=False, choices=[("", "all"), *words.TRADES])
    shape = forms.ChoiceField(label="A planned period runs", required=False, choices=SHAPES)

    def __init__(self, data: QueryDict, found: Progress) -> None:
        super().__init__({key: value for key, value in data.items() if value})
        offered: dict[str, list[tuple[Any, str]]] = {
            "floor": [("", "all"), *((floor, floor) for floor in found.floor_choices)],
            "air_handler": [("", "all"), *((str(i), tag) for i, tag in found.air_handler_choices)],
        }
        for name, listed in offered.items():
            cast("forms.ChoiceField", self.fields[name]).choices = listed


def asked(data: QueryDict) -> tuple[ProgressFilter, Shape]:
    """What the address asks for; an air handler that is no number matches none."""
    given = data.get("air_handler", "")
    handler = (ids_in([given]) or [0])[0] if given else None
    shape: Shape = "even" if data.get("shape") == "even" else "s"
    return ProgressFilter(data.get("floor", ""), handler, data.get("trade", "")), shape
