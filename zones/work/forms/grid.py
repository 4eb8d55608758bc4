"""What the address of a list of the board says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms
from django.http import QueryDict

from zones.work.domain import words
from zones.work.queries.board import WholeBoard
from zones.work.queries.board_rows import STATES, BoardFilter, floors

ALL = "all"
"""Trade that stands for every trade."""


class BoardFilterForm(forms.Form):
    """Search and filters of the grid."""

    text = forms.CharField(
        label="Search",
        required=False,
        max_length=80,
        widget=forms.TextInput({"type": "search", "placeholder": "tag, location"}),
    )
    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    trunk = forms.TypedChoiceField(label="Trunk", required=False, coerce=int, empty_value=None)
    trade = forms.ChoiceField(label="Trade", required=False)
    state = forms.ChoiceField(label="Has a step that is", required=False)
    sort = forms.ChoiceField(
        label="Order", required=False, choices=[("tag", "by tag"), ("walking", "as one walks")]
    )

    def __init__(
        self, data: QueryDict, *, choices: Mapping[str, Sequence[tuple[Any, str]]], own_trade: str
    ) -> None:
        # A list without a trade in its address begins with the reader's own.
        super().__init__({"trade": own_trade or ALL, **{k: v for k, v in data.items() if v}})
        self.own_trade = own_trade
        offered = {
            "floor": [("", "any"), *choices["floor"]],
            "air_handler": [("", "any"), *choices["air_handler"]],
            "trunk": [("", "any"), *choices["trunk"]],
            "trade": [(ALL, "all"), *words.TRADES],
            "state": [("", "any"), *STATES],
        }
        for name, listed in offered.items():
            cast("forms.ChoiceField", self.fields[name]).choices = listed
        if not choices["trunk"]:
            del self.fields["trunk"]

    def wanted(self) -> BoardFilter:
        """What the address asks for; a filter that can't be understood is left out and said so."""
        self.is_valid()
        given = self.cleaned_data
        trade = given.get("trade") or self.own_trade
        return BoardFilter(
            text=given.get("text") or "",
            floor=given.get("floor") or "",
            air_handler=given.get("air_handler"),
            trunk=given.get("trunk"),
            trade="" if trade == ALL else trade,
            state=given.get("state") or "",
        )


def filter_choices(whole: WholeBoard) -> dict[str, list[tuple[Any, str]]]:
    """Floors, air handlers and trunks that a list of this board can be narrowed to."""

    def groups(kind: str) -> list[tuple[Any, str]]:
        return [(group.id, group.label) for group in whole.groupings[kind].groups.values()]

    return {
        "floor": [(floor, floor) for floor in floors(whole)],
        "air_handler": groups("air-handler"),
        "trunk": groups("trunk"),
    }


def ids_in(texts: Sequence[str]) -> list[int]:
    """Ids among texts; what is none is left out."""
    return [int(t) for t in texts if t.isascii() and t.isdecimal() and len(t) < 19]


def cells_in(texts: Sequence[str]) -> list[tuple[int, int]]:
    """Cells "unit-step" among texts, which may hold several with commas between them."""
    found = []
    for text in ",".join(texts).split(","):
        ids = ids_in(text.split("-"))
        if len(ids) == 2:
            found.append((ids[0], ids[1]))
    return found
