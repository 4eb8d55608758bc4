"""What the address of a list of files says, and what comes with a new file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms
from django.http import QueryDict

from zones.work.models.files import FILE_KINDS
from zones.work.queries.files import FileFilter
from zones.work.queries.subjects import NOUNS


class FileFilterForm(forms.Form):
    """Search and filters of the files."""

    text = forms.CharField(
        label="Search",
        required=False,
        max_length=80,
        widget=forms.TextInput({"type": "search", "placeholder": "tag, caption, name"}),
    )
    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.TypedChoiceField(
        label="Air handler", required=False, coerce=int, empty_value=None
    )
    kind = forms.ChoiceField(
        label="Kind",
        required=False,
        choices=[("", "any"), *((key, f"{word}s") for key, word in FILE_KINDS)],
    )
    person = forms.TypedChoiceField(label="Added by", required=False, coerce=int, empty_value=None)
    archived = forms.BooleanField(label="Archived", required=False)

    def __init__(
        self, data: QueryDict, *, choices: Mapping[str, Sequence[tuple[Any, str]]]
    ) -> None:
        super().__init__(data)
        for name, listed in choices.items():
            cast("forms.ChoiceField", self.fields[name]).choices = [("", "any"), *listed]

    def wanted(self) -> FileFilter:
        """What the address asks for; a filter that can't be understood is left out and said so."""
        self.is_valid()
        given = self.cleaned_data
        return FileFilter(
            text=given.get("text") or "",
            floor=given.get("floor") or "",
            air_handler=given.get("air_handler"),
            kind=given.get("kind") or "",
            person=given.get("person"),
            archived=bool(given.get("archived")),
        )


class FileAddForm(forms.Form):
    """What comes with new files besides the files themselves."""

    kind = forms.ChoiceField(choices=list(NOUNS.items()))
    subject = forms.IntegerField(min_value=1)
    caption = forms.CharField(required=False, max_length=200)
    punch_item = forms.IntegerField(required=False, min_value=1)
    step = forms.IntegerField(required=False, min_value=1)
    checkout_point = forms.IntegerField(required=False, min_value=1)
    client_key = forms.UUIDField(required=False)

    def values(self) -> dict[str, Any]:
        """What the operation takes, but for the file."""
        given = self.cleaned_data
        return {
            "kind": given["kind"],
            "subject_id": given["subject"],
            "caption": given["caption"],
            "punch_item_id": given["punch_item"],
            "step_id": given["step"],
            "checkout_point_id": given["checkout_point"],
        }
