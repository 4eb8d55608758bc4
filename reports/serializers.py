"""What the API takes and gives for documents."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from reports.models import DocumentKind, DocumentState, RenderState
from zones.work.domain.labels import SHEETS
from zones.work.domain.words import TRADES


class DocumentSerializer(serializers.Serializer[Any]):
    """A document without its figures."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=DocumentKind.choices)
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=DocumentState.choices)
    number = serializers.IntegerField(allow_null=True)
    number_text = serializers.CharField(help_text="The number as printed; empty for a draft.")
    issue = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    unit_id = serializers.IntegerField(allow_null=True)
    air_handler_id = serializers.IntegerField(allow_null=True)
    options = serializers.DictField(
        help_text="What narrows it further: floor, trade, label_sheet, labels_used."
    )
    render_state = serializers.ChoiceField(choices=RenderState.choices)
    render_error = serializers.CharField()
    sections_done = serializers.IntegerField()
    sections_total = serializers.IntegerField()
    page_count = serializers.IntegerField(allow_null=True)
    sha256 = serializers.CharField()
    created_at = serializers.DateTimeField()
    created_by = serializers.CharField()
    issued_at = serializers.DateTimeField(allow_null=True)
    issued_by = serializers.CharField(allow_null=True)
    downloads = serializers.IntegerField()


class NewDocumentSerializer(serializers.Serializer[Any]):
    """A document to draft: a sheet needs ``unit``; others take ``air_handler`` or all units.

    ``floor`` narrows every kind but the sheet, ``trade`` the punch list; labels need
    ``label_sheet`` and may say how many labels of the first sheet are gone.
    """

    kind = serializers.ChoiceField(choices=DocumentKind.choices)
    unit = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    air_handler = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    floor = serializers.CharField(required=False, allow_blank=True, max_length=40, default="")
    trade = serializers.ChoiceField(
        choices=TRADES, required=False, allow_blank=True, default="", help_text="Who owes."
    )
    view = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=80,
        default="",
        help_text="Of a floor plan: progress, findings, punch, or step- and a step's key.",
    )
    label_sheet = serializers.ChoiceField(
        choices=[(sheet.key, sheet.name) for sheet in SHEETS],
        required=False,
        allow_blank=True,
        default="",
    )
    labels_used = serializers.IntegerField(required=False, min_value=0, max_value=99, default=0)
    note = serializers.CharField(required=False, allow_blank=True, max_length=240, default="")


class IssueSerializer(serializers.Serializer[Any]):
    """The note of an issue; left out, the draft's note stays."""

    note = serializers.CharField(required=False, allow_blank=True, max_length=240)


class DifferenceSerializer(serializers.Serializer[Any]):
    """One figure that differs; numbers in the SI unit of ``kind``, else words."""

    subject = serializers.CharField()
    what = serializers.CharField()
    kind = serializers.CharField(help_text="Kind of quantity; empty for words.")
    old = serializers.JSONField(allow_null=True)
    new = serializers.JSONField(allow_null=True)


class ComparisonSerializer(serializers.Serializer[Any]):
    """Two issues of one subject and what changed."""

    old = DocumentSerializer()
    new = DocumentSerializer()
    differences = DifferenceSerializer(many=True)
