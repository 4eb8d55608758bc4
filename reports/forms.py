"""Forms of the documents' pages."""

from __future__ import annotations

from typing import Any

from django import forms

from projectsite.core.errors import ApplicationError
from projectsite.core.scope import Scope
from reports.queries import Subject, may_draft
from reports.queries.dossiers import KIND_TITLES
from zones.inventory import queries as inventory
from zones.work.domain.labels import SHEETS
from zones.work.domain.words import TRADES

WHOLE = "whole project"
LABELS = "label-sheet"


class DocumentFilterForm(forms.Form):
    """What the list of documents can be narrowed by."""

    q = forms.CharField(label="Search", required=False, max_length=200)
    kind = forms.ChoiceField(
        label="Kind", required=False, choices=[("", "all"), *KIND_TITLES.items()]
    )
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("", "all"), ("draft", "draft"), ("issued", "issued")],
    )


class NewDocumentForm(forms.Form):
    """Kind and subject of a new document."""

    kind = forms.ChoiceField(label="Document", widget=forms.RadioSelect)
    unit = forms.CharField(
        label="Terminal unit",
        required=False,
        max_length=60,
        help_text="Tag of the unit; an air balance sheet needs it, the others leave it out.",
    )
    air_handler = forms.ChoiceField(
        label="Air handler",
        required=False,
        help_text="For a report or a list; leave it at the whole project for all units.",
    )
    floor = forms.ChoiceField(label="Floor", required=False, help_text="A floor plan needs it.")
    trade = forms.ChoiceField(
        label="Trade",
        required=False,
        choices=[("", "all"), *TRADES],
        help_text="Only for a punch list: the trade that owes the items.",
    )
    view = forms.CharField(
        required=False, max_length=80, widget=forms.HiddenInput, label="What the plan shows"
    )
    note = forms.CharField(
        label="Note", required=False, max_length=240, help_text="Printed on the document."
    )

    def __init__(self, *args: Any, scope: Scope, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.scope = scope
        # Labels have a page of their own, where the sheet in the printer is chosen.
        kinds = [(kind, KIND_TITLES[kind]) for kind in may_draft(scope) if kind != LABELS]
        handlers = [(str(h.id), h.tag) for h in inventory.air_handlers(scope)]
        self._choices("kind", kinds)
        self._choices("air_handler", [("", WHOLE), *handlers])
        floors = [(floor, floor) for floor in inventory.options(scope).floors]
        self._choices("floor", [("", "all floors"), *floors])

    def _choices(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def subject(self) -> Subject:
        """What the document is about; a tag that is not known is an error of the field."""
        data = self.cleaned_data
        if data["kind"] == "unit-balance":
            unit_id = inventory.unit_id_of(self.scope, data["unit"]) if data["unit"] else None
            return Subject(unit_id=unit_id)
        return Subject(
            air_handler_id=int(data["air_handler"]) if data["air_handler"] else None,
            floor=data["floor"],
            trade=data["trade"],
            view=data["view"],
        )

    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or on top of the form."""
        refuse(self, error)


class LabelForm(forms.Form):
    """Which boxes get a label, and the sheet that is in the printer."""

    air_handler = forms.ChoiceField(label="Air handler", required=False)
    floor = forms.ChoiceField(label="Floor", required=False)
    label_sheet = forms.ChoiceField(
        label="Sheet of labels", choices=[(sheet.key, sheet.name) for sheet in SHEETS]
    )
    labels_used = forms.IntegerField(
        label="Labels gone from the first sheet",
        required=False,
        min_value=0,
        max_value=99,
        help_text="Counted from the top left, row by row; empty for a full sheet.",
    )

    def __init__(self, *args: Any, scope: Scope, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = inventory.options(scope)
        offered = {
            "air_handler": [
                ("", "all air handlers"),
                *((str(handler_id), tag) for handler_id, tag in choices.air_handlers),
            ],
            "floor": [("", "all floors"), *((floor, floor) for floor in choices.floors)],
        }
        for name, pairs in offered.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = pairs

    def subject(self) -> Subject:
        """What is to be labelled, on which sheet."""
        data = self.cleaned_data
        return Subject(
            air_handler_id=int(data["air_handler"]) if data["air_handler"] else None,
            floor=data["floor"],
            label_sheet=data["label_sheet"],
            labels_used=data["labels_used"] or 0,
        )

    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or on top of the form."""
        refuse(self, error)


class IssueForm(forms.Form):
    """The note that goes out with an issue."""

    note = forms.CharField(
        label="Note",
        required=False,
        max_length=240,
        help_text="Printed on the document; needed when it goes out with open items.",
    )

    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or on top of the form."""
        refuse(self, error)


def refuse(form: forms.Form, error: ApplicationError) -> None:
    """Show a refusal of an operation on a form."""
    form.add_error(None, error.message)
    for name, message in error.fields.items():
        if name in form.fields:
            form.add_error(name, message)
