"""Forms of the punch list."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import QueryDict

from projectsite.core.errors import ApplicationError
from projectsite.core.scope import Scope
from zones.inventory import queries as inventory
from zones.work.domain.words import SEVERITIES, TRADES
from zones.work.queries.people import people_who_work
from zones.work.queries.punch import PunchFilter
from zones.work.queries.subjects import NOUNS

KINDS = tuple(NOUNS.items())
DATE = forms.DateInput(attrs={"type": "date"})
UNVERIFIED = "unverified"


class PunchFilterForm(forms.Form):
    """What the punch list can be narrowed by."""

    q = forms.CharField(
        label="Search",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"placeholder": "number, tag, words"}),
    )
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[
            ("", "all"),
            (UNVERIFIED, "not verified"),
            ("open", "open"),
            ("answered", "answered"),
            ("verified", "verified"),
        ],
    )
    trade = forms.ChoiceField(label="Owed by", required=False, choices=[("", "all"), *TRADES])
    severity = forms.ChoiceField(label="Weight", required=False, choices=[("", "all"), *SEVERITIES])
    kind = forms.ChoiceField(label="About", required=False, choices=[("", "anything"), *KINDS])
    floor = forms.ChoiceField(label="Floor", required=False)
    air_handler = forms.ChoiceField(label="Air handler", required=False)
    due_before = forms.DateField(label="Due before", required=False, widget=DATE)
    person = forms.ChoiceField(label="Person", required=False)
    unit = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, scope: Scope, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if scope.allows("manage-people"):
            people = [(str(m.user_id), m.full_name) for m in people_who_work(scope)]
            _offer(self, "person", [("", "all"), *people])
        else:
            del self.fields["person"]
        choices = inventory.options(scope)
        _offer(self, "floor", [("", "all"), *((floor, floor) for floor in choices.floors)])
        handlers = [(str(handler_id), tag) for handler_id, tag in choices.air_handlers]
        _offer(self, "air_handler", [("", "all"), *handlers])

    def wanted(self) -> PunchFilter:
        """What is asked for; what can't be understood is shown beside its field and left out."""
        self.is_valid()
        data = self.cleaned_data
        return PunchFilter(
            text=data.get("q") or "",
            state=data.get("state") or "",
            trade=data.get("trade") or "",
            severity=data.get("severity") or "",
            kind=data.get("kind") or "",
            floor=data.get("floor") or "",
            air_handler=int(data["air_handler"]) if data.get("air_handler") else None,
            person=int(data["person"]) if data.get("person") else None,
            due_before=data.get("due_before"),
            unit=data.get("unit"),
        )


class PunchItemForm(forms.Form):
    """What an item says; a new one also names what it is about."""

    kind = forms.ChoiceField(label="About", choices=KINDS)
    subject = forms.CharField(
        label="Tag",
        max_length=120,
        help_text="Of an outlet: tag of the unit, a comma, tag of the outlet.",
    )
    trade = forms.ChoiceField(label="Owed by", choices=[("", "choose"), *TRADES])
    text = forms.CharField(
        label="What is to be done",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    severity = forms.ChoiceField(label="Weight", choices=SEVERITIES, initial="mend")
    due_date = forms.DateField(label="Due", required=False, widget=DATE)
    person_id = forms.TypedChoiceField(
        label="Person", required=False, coerce=int, empty_value=None, choices=[]
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, scope: Scope, is_new: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_new:
            del self.fields["kind"], self.fields["subject"]
        if scope.allows("manage-people"):
            people = [(str(m.user_id), m.full_name) for m in people_who_work(scope)]
            _offer(self, "person_id", [("", "nobody in particular"), *people])
        else:
            del self.fields["person_id"]

    def values(self) -> dict[str, Any]:
        """What may be changed of an item."""
        names = ("trade", "text", "severity", "due_date", "person_id")
        return {name: self.cleaned_data[name] for name in names if name in self.fields}

    def refuse(self, error: ApplicationError) -> None:
        """Put a refusal beside its fields, or on top of the form."""
        _refuse(self, error)


_ASKED = {
    "answer": ("What was done", "Say what was done."),
    "reopen": ("What is still open", "Say what is still open."),
}


class SayForm(forms.Form):
    """Words with which an item is answered, verified or reopened."""

    text = forms.CharField(
        label="Remark", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self, data: QueryDict | None = None, *, act: str, initial: dict[str, Any] | None = None
    ) -> None:
        super().__init__(data, initial=initial, auto_id=f"id_{act}_%s")
        # The operation refuses an empty text; only verifying goes without one.
        if act in _ASKED:
            self.fields["text"].label, missing = _ASKED[act]
            self.fields["text"].required = True
            self.fields["text"].error_messages["required"] = missing


class PunchFileForm(forms.Form):
    """A workbook or text file of punch items."""

    file = forms.FileField(
        label="File",
        help_text="XLSX or CSV with the columns About, Tag, Owed by, What is to be done, Weight "
        "and Due; a file that was exported here can be sent back.",
    )


def _offer(form: forms.Form, name: str, choices: list[tuple[str, str]]) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices


def _refuse(form: forms.Form, error: ApplicationError) -> None:
    form.add_error(None, error.message)
    for name, message in error.fields.items():
        if name in form.fields:
            form.add_error(name, message)
