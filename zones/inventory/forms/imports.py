"""Forms of schedule imports: upload, sheet and rows, and what each column is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from projectsite.core import units
from projectsite.core.errors import ApplicationError
from projectsite.core.quantities import KINDS
from projectsite.core.workbook.types import MAX_FILE_BYTES, MAX_ROWS
from zones.inventory.domain.fields import Field
from zones.inventory.domain.schedule.types import TARGETS, Layout
from zones.inventory.models import ImportTarget
from zones.inventory.operations.imports import MappedColumn
from zones.inventory.queries.imports import ImportFacts

ROWS = ("heading_row", "heading_end_row", "units_row", "first_row", "last_row")
_ROW_LABELS = {
    "heading_row": "First heading row",
    "heading_end_row": "Last heading row",
    "units_row": "Units row",
    "first_row": "First unit in row",
    "last_row": "Last row",
}


def refuse(form: forms.Form, error: ApplicationError) -> None:
    """Put a refusal beside its fields, or above the form where there is none."""
    beside = {name: text for name, text in error.fields.items() if name in form.fields}
    for name, text in beside.items():
        form.add_error(name, text)
    for name, text in error.fields.items():
        if name not in beside:
            form.add_error(None, text)
    if not error.fields:
        form.add_error(None, error.message)


class UploadForm(forms.Form):
    """A file and what it lists."""

    file = forms.FileField(
        label="Schedule",
        help_text=f"XLSX or CSV, at most {MAX_FILE_BYTES // 1024**2} MB and {MAX_ROWS:,} rows. "
        "Nothing is kept in the record before you have seen every row.",
        error_messages={
            "empty": "The file is empty (0 bytes). Upload the schedule itself.",
            "required": "Choose the file of the schedule.",
        },
        widget=forms.ClearableFileInput(attrs={"accept": ".xlsx,.csv"}),
    )
    target = forms.ChoiceField(
        label="What it lists",
        choices=ImportTarget.choices,
        initial="units",
        widget=forms.RadioSelect,
    )
    label = forms.CharField(
        label="Name of this issue",
        max_length=80,
        required=False,
        help_text="Such as “Addendum 1”. The file's own name stands in for it.",
    )

    def clean_file(self) -> Any:
        """Refuse a file by its size before anything reads it."""
        given = self.cleaned_data["file"]
        if given.size > MAX_FILE_BYTES:
            raise forms.ValidationError(
                f"The file is {given.size / 1024**2:,.1f} MB; at most "
                f"{MAX_FILE_BYTES // 1024**2} MB is accepted. Remove pictures and sheets that "
                "do not belong to the schedule."
            )
        return given


class LayoutForm(forms.Form):
    """Which sheet, and where its table stands."""

    sheet = forms.ChoiceField(label="Sheet")

    def __init__(self, found: ImportFacts, data: Any = None) -> None:
        super().__init__(data, prefix="", initial={"sheet": found.sheet})
        self.fields["sheet"].choices = [  # type: ignore[attr-defined]  # a choice field
            (s["name"], f"{s['name']} ({s['rows']} rows{', hidden' if s['hidden'] else ''})")
            for s in found.sheets
        ]
        for name in ROWS:
            self.fields[name] = forms.IntegerField(
                label=_ROW_LABELS[name],
                min_value=1,
                max_value=2_000_000,
                required=False,
                initial=getattr(found, name),
            )

    def wanted(self, found: ImportFacts) -> dict[str, Any]:
        """What the person asks for; rows of another sheet are proposed anew."""
        sheet = self.cleaned_data["sheet"]
        if sheet != found.sheet:
            return {"sheet": sheet}
        rows = {name: self.cleaned_data[name] or 0 for name in ROWS}
        return {"sheet": sheet, **{k: v for k, v in rows.items() if v or k == "units_row"}}


class MappingForm(forms.Form):
    """What each column is and in which unit its bare numbers are."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self, found: ImportFacts, box_models: Sequence[tuple[int, str]], data: Any = None
    ) -> None:
        super().__init__(data, initial={"version": found.version})
        self._found = found
        fields = TARGETS[found.target]
        names = [("", "leave out"), *((f.name, f.label) for f in fields)]
        self.columns = found.proposal.get("columns", [])
        for column in self.columns:
            j = column["index"]
            chosen = found.mapping.get(str(j), {"field": column["field"], "unit": column["unit"]})
            heading = column["heading"] or f"column {column['letters']}"
            self.fields[f"field_{j}"] = forms.ChoiceField(
                label=f"Field of {heading}", choices=names, required=False, initial=chosen["field"]
            )
            self.fields[f"unit_{j}"] = forms.ChoiceField(
                label=f"Unit of {heading}",
                choices=_unit_choices(),
                required=False,
                initial=chosen["unit"],
            )
        if found.target == "units":
            self.fields["box_model"] = forms.TypedChoiceField(
                label="Box model of sizes without one",
                choices=[("", "the file names it"), *box_models],
                coerce=int,
                empty_value=None,
                required=False,
                initial=found.choices.get("box_model_id") or "",
                help_text="For a schedule that gives only the inlet size.",
            )
        self.fields["is_na_empty"] = forms.BooleanField(
            label="Read “N/A” as an empty cell",
            required=False,
            initial=found.choices.get("is_na_empty", False),
            help_text="Otherwise N/A in a number column refuses the row. Dashes are always empty.",
        )

    def lines(self) -> list[dict[str, Any]]:
        """Columns of the file with their two controls, for the page."""
        return [
            {
                "column": column,
                "sample": [text for text in column["sample"] if text][:4],
                "field": self[f"field_{column['index']}"],
                "unit": self[f"unit_{column['index']}"],
            }
            for column in self.columns
        ]

    def others(self) -> list[forms.BoundField]:
        """The choices for the whole file."""
        return [self[name] for name in ("box_model", "is_na_empty") if name in self.fields]

    def clean(self) -> dict[str, Any]:
        """A column of quantities needs a unit of their kind."""
        data: dict[str, Any] = super().clean() or {}
        kinds = {f.name: _kind(f) for f in TARGETS[self._found.target]}
        for column in self.columns:
            j = column["index"]
            kind = kinds.get(data.get(f"field_{j}", ""), "")
            unit = data.get(f"unit_{j}", "")
            if kind and unit not in KINDS[kind].units:
                self.add_error(
                    f"unit_{j}", f"Choose a unit of {KINDS[kind].label} for this column."
                )
            if not kind:
                data[f"unit_{j}"] = ""
        return data

    def mapped(self) -> list[MappedColumn]:
        """The columns as chosen."""
        return [
            MappedColumn(
                column["index"],
                column["heading"],
                self.cleaned_data.get(f"field_{column['index']}", ""),
                self.cleaned_data.get(f"unit_{column['index']}", ""),
            )
            for column in self.columns
        ]

    def layout(self) -> Layout:
        """Rows as they were read."""
        found = self._found
        return Layout(
            found.heading_row or 1,
            found.heading_end_row or 1,
            found.units_row or 0,
            found.first_row or 2,
            found.last_row or 2,
        )


def _kind(field: Field) -> str:
    if field.name == "inlet":
        return "diameter"
    return field.kind if field.kind in KINDS else ""


def _unit_choices() -> list[Any]:
    kinds = dict.fromkeys(
        kind for fields in TARGETS.values() for field in fields if (kind := _kind(field))
    )
    seen: set[str] = set()
    groups: list[Any] = [("", "no unit")]
    for kind in kinds:
        # A unit stands once, under the first kind that has it.
        fresh = [unit for unit in KINDS[kind].units if unit not in seen]
        seen.update(fresh)
        if fresh:
            groups.append((KINDS[kind].label, [(unit, units.symbol(unit)) for unit in fresh]))
    return groups
