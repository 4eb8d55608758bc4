"""Schedule imports as the API takes and gives them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from zones.inventory.models import ImportState, ImportTarget, RowOutcome, WorkState
from zones.inventory.queries.imports import ImportFacts

Plain = serializers.Serializer[Any]
ROW_NUMBERS = ("heading_row", "heading_end_row", "units_row", "first_row", "last_row")
DIFFERENCES = ["added", "missing", "changed"]


class ImportIn(Plain):
    """A file to take in."""

    file = serializers.FileField(help_text="XLSX or CSV, at most 25 MB.")
    target = serializers.ChoiceField(choices=ImportTarget.choices, default="units")
    label = serializers.CharField(  # type: ignore[assignment]  # the name hides one of the base class
        max_length=80, required=False, default="", allow_blank=True
    )


class LayoutIn(Plain):
    """Which sheet to read, and where its table stands; what is left out is proposed."""

    sheet = serializers.CharField(required=False)
    heading_row = serializers.IntegerField(required=False, min_value=1)
    heading_end_row = serializers.IntegerField(required=False, min_value=1)
    units_row = serializers.IntegerField(required=False, min_value=0, help_text="0 for none.")
    first_row = serializers.IntegerField(required=False, min_value=1)
    last_row = serializers.IntegerField(required=False, min_value=1)


class ColumnIn(Plain):
    """What a column of the file is."""

    column = serializers.IntegerField(min_value=0, help_text="Place of the column, from 0.")
    field = serializers.CharField(
        allow_blank=True, max_length=40, help_text="Name of a field; empty to leave it out."
    )
    unit = serializers.CharField(
        allow_blank=True,
        required=False,
        default="",
        max_length=60,
        help_text="Unit of bare numbers, as spelled.",
    )


class MappingIn(Plain):
    """What each column is; columns that are not named are left out."""

    version = serializers.IntegerField(min_value=0)
    columns = ColumnIn(many=True)
    box_model_id = serializers.IntegerField(required=False, allow_null=True, default=None)
    is_na_empty = serializers.BooleanField(required=False, default=False)


class ApplyIn(Plain):
    """Which rows to write."""

    version = serializers.IntegerField(min_value=0)
    rows = serializers.ChoiceField(
        choices=[("good", "all good rows"), ("whole", "nothing unless every row is good")],
        default="good",
    )


class ImportVersionIn(Plain):
    """Version that is acted upon."""

    version = serializers.IntegerField(min_value=0)


class ColumnOut(Plain):
    """A column with what it was taken for."""

    column = serializers.IntegerField()
    letters = serializers.CharField()
    heading = serializers.CharField()
    sample = serializers.ListField(child=serializers.CharField())
    field = serializers.CharField()
    unit = serializers.CharField()


class ImportOut(Plain):
    """One import."""

    id = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]  # the name hides one of the base class
    target = serializers.ChoiceField(choices=ImportTarget.choices)
    file_name = serializers.CharField()
    file_size = serializers.IntegerField(help_text="Bytes.")
    sha256 = serializers.CharField()
    received_before = serializers.ListField(
        child=serializers.IntegerField(), help_text="Imports of exactly the same file."
    )
    sheets = serializers.ListField(child=serializers.CharField())
    sheet = serializers.CharField()
    heading_row = serializers.IntegerField(allow_null=True)
    heading_end_row = serializers.IntegerField(allow_null=True)
    units_row = serializers.IntegerField(allow_null=True)
    first_row = serializers.IntegerField(allow_null=True)
    last_row = serializers.IntegerField(allow_null=True)
    columns = ColumnOut(many=True)
    state = serializers.ChoiceField(choices=ImportState.choices)
    work_state = serializers.ChoiceField(choices=WorkState.choices)
    work_done = serializers.IntegerField()
    work_total = serializers.IntegerField()
    work_words = serializers.CharField()
    counts = serializers.DictField(child=serializers.IntegerField())
    notes = serializers.ListField(child=serializers.CharField())
    revision = serializers.IntegerField(allow_null=True)
    created_at = serializers.DateTimeField()
    created_by = serializers.CharField()
    applied_at = serializers.DateTimeField(allow_null=True)
    applied_by = serializers.CharField()
    version = serializers.IntegerField()


class ProblemOut(Plain):
    """What is wrong with a cell."""

    cell = serializers.CharField()
    field = serializers.CharField()
    message = serializers.CharField()


class RowOut(Plain):
    """One row of the file; values in SI."""

    row_number = serializers.IntegerField()
    tag = serializers.CharField()
    outcome = serializers.ChoiceField(choices=RowOutcome.choices)
    reason = serializers.CharField()
    unit_id = serializers.IntegerField(allow_null=True)
    values = serializers.DictField()
    entered = serializers.DictField(child=serializers.CharField())
    changes = serializers.DictField(help_text="Old and new value by field name.")
    problems = ProblemOut(many=True)
    reopens = serializers.ListField(child=serializers.CharField())


class AppliedOut(Plain):
    """What applying did."""

    revision = serializers.IntegerField(allow_null=True)
    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    air_handlers = serializers.ListField(child=serializers.CharField())
    zones = serializers.ListField(child=serializers.CharField())


class MissingOut(Plain):
    """A unit that the file does not name."""

    id = serializers.IntegerField()
    tag = serializers.CharField()


class DifferenceOut(Plain):
    """One difference between two revisions; values in SI."""

    tag = serializers.CharField()
    what = serializers.ChoiceField(choices=DIFFERENCES)
    field = serializers.CharField()
    old = serializers.JSONField(allow_null=True)
    new = serializers.JSONField(allow_null=True)
    note = serializers.CharField()


def as_given(found: ImportFacts, received_before: list[int] | None = None) -> dict[str, Any]:
    """Plain values of an import for the API."""
    mapping: Mapping[str, Mapping[str, str]] = found.mapping
    columns = [
        {
            "column": column["index"],
            "letters": column["letters"],
            "heading": column["heading"],
            "sample": column["sample"],
            **mapping.get(str(column["index"]), {"field": "", "unit": ""}),
        }
        for column in found.proposal.get("columns", [])
    ]
    same = (
        "id", "label", "target", "file_name", "file_size", "sha256", "sheet", *ROW_NUMBERS, "state",
        "work_state", "work_done", "work_total", "counts", "notes", "revision", "created_at",
        "created_by", "applied_at", "applied_by", "version",
    )  # fmt: skip
    return {
        **{name: getattr(found, name) for name in same},
        "sheets": found.sheet_names,
        "columns": columns,
        "work_words": found.work_text,
        "received_before": received_before or [],
    }
