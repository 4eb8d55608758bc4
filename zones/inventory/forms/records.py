"""Forms made from the field lists: what was typed is kept, and only changes are sent on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from projectsite.core.errors import ApplicationError
from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered
from zones.inventory.domain.fields import Field

Choices = Sequence[tuple[Any, Any]]
_LISTED_TAGS = 300


class TagField(forms.CharField):
    """Another record, named by its tag: for lists too long to choose from."""

    def __init__(self, options: Sequence[tuple[int, str]], *, list_id: str, **kwargs: Any) -> None:
        attrs = {"list": list_id, "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs), max_length=60, **kwargs)
        self.ids = {tag.casefold(): key for key, tag in options}
        self.tags = dict(options)
        self.suggestions = [tag for _, tag in options[:_LISTED_TAGS]]
        self.list_id = list_id

    def prepare_value(self, value: Any) -> Any:
        """Show the tag of an id; what was typed stays as it is."""
        return self.tags.get(value, "") if isinstance(value, int) else value

    def clean(self, value: Any) -> Any:
        """Find the record of a typed tag."""
        typed = super().clean(value)
        if not typed:
            return None
        found = self.ids.get(typed.casefold())
        if found is None:
            noun = (self.label or "record").lower()
            raise ValidationError(f"There is no {noun} {typed} here. Add it first.")
        return found


class LinkField(forms.TypedChoiceField):
    """Another record, chosen from a list; groups are allowed."""

    def __init__(self, options: Choices, **kwargs: Any) -> None:
        choices = [("", "—"), *options]
        super().__init__(choices=choices, coerce=int, empty_value=None, **kwargs)


def _link(field: Field, links: Mapping[str, Choices], common: dict[str, Any]) -> forms.Field:
    if field.name == "zone":
        return TagField(list(links.get("zone", ())), list_id="zone-tags", **common)
    return LinkField(links.get(field.name, ()), **common)


def _text(field: Field, common: dict[str, Any]) -> forms.Field:
    if field.kind == "choice":
        if field.default is None:
            listed = [("", "—"), *field.choices]
            return forms.ChoiceField(choices=listed, **common)
        return forms.ChoiceField(choices=field.choices, **{**common, "required": True})
    widget = forms.Textarea({"rows": 3}) if field.kind == "long-text" else forms.TextInput()
    return forms.CharField(max_length=field.max_length, widget=widget, **common)


def _number(field: Field, common: dict[str, Any]) -> forms.Field:
    if field.choices:
        listed = [("", "—"), *field.choices]
        return forms.TypedChoiceField(choices=listed, coerce=int, empty_value=None, **common)
    is_whole = field.kind == "count"
    attrs = {"autocomplete": "off", "class": "quantity"}
    attrs["inputmode"] = "numeric" if is_whole else "decimal"
    common |= {
        "min_value": field.low,
        "max_value": field.high,
        "widget": forms.TextInput(attrs),
    }
    return forms.IntegerField(**common) if is_whole else forms.FloatField(**common)


def _field(field: Field, system: UnitSystem, links: Mapping[str, Choices]) -> forms.Field:
    common: dict[str, Any] = {
        "label": field.label,
        "required": field.required,
        "help_text": field.help,
        "show_hidden_initial": True,
    }
    if field.kind == "link":
        return _link(field, links, common)
    if field.is_text:
        return _text(field, common)
    if field.kind in {"count", "figure"}:
        return _number(field, common)
    return QuantityField(field.kind, minimum=field.low, system=system, **common)


class RecordForm(QuantityForm):
    """A form over a field list.

    Parameters
    ----------
    fields
        Field list of the record; fields that are only shown are left out.
    links
        Choices of the fields that name other records.
    record
        Values of the record by field name (SI; ids for links) and its ``entered`` texts, or
        None for a new one.
    """

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        fields: Sequence[Field],
        system: UnitSystem,
        links: Mapping[str, Choices] | None = None,
        record: Mapping[str, Any] | None = None,
        prefix: str | None = None,
    ) -> None:
        self.listed = [field for field in fields if field.is_stored]
        super().__init__(data, system=system, initial=self._initial(record), prefix=prefix)
        for field in self.listed:
            self.fields[field.name] = _field(field, system, links or {})
        self.record = record

    def _initial(self, record: Mapping[str, Any] | None) -> dict[str, Any]:
        if record is None:
            return {f.name: f.default for f in self.listed if f.default is not None}
        texts: Mapping[str, str] = record.get("entered") or {}
        initial: dict[str, Any] = {"version": record.get("version")}
        for field in self.listed:
            value = record.get(field.column if field.kind == "link" else field.name)
            if value is not None and field.is_quantity and texts.get(field.name):
                value = Entered(value, texts[field.name])
            initial[field.name] = value
        return initial

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Fields under their headings."""
        found: dict[str, list[forms.BoundField]] = {}
        for field in self.listed:
            found.setdefault(field.group, []).append(self[field.name])
        return list(found.items())

    def datalists(self) -> list[tuple[str, list[str]]]:
        """Suggestions for fields that are typed."""
        return [
            (field.list_id, field.suggestions)
            for field in self.fields.values()
            if isinstance(field, TagField)
        ]

    def values(self) -> dict[str, Any]:
        """What the person changed, by field name: the rest must not travel.

        A number is shown rounded; sending it back unread would change the record.
        """
        return {
            field.name: self.cleaned_data[field.name]
            for field in self.listed
            if field.name in self.cleaned_data and self._is_touched(field.name)
        }

    def _is_touched(self, name: str) -> bool:
        key, before = self.add_prefix(name), self.add_initial_prefix(name)
        if before not in self.data:
            return True
        return str(self.data.get(key, "")).strip() != str(self.data.get(before, "")).strip()

    def renew(self, error: ApplicationError) -> None:
        """After a conflict: keep what was typed, take the rest and the version as they are now."""
        data = self.data.copy() if hasattr(self.data, "copy") else dict(self.data)
        for name in ("version", *(field.name for field in self.listed)):
            shown = self.fields[name].prepare_value(self.initial.get(name))
            text = "" if shown is None else str(shown)
            if name == "version" or not self._is_touched(name):
                data[self.add_prefix(name)] = text
            data[self.add_initial_prefix(name)] = text
        self.data = data
        self.refuse(error)
