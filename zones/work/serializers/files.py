"""What the API takes and gives of photos and files."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadedfile import UploadedFile
from rest_framework import serializers

from zones.work.models.files import FILE_KINDS
from zones.work.operations.files import MAX_FILE_BYTES
from zones.work.queries.files import FileRow
from zones.work.serializers.punch import SUBJECT_KINDS

Plain = serializers.Serializer[Any]


class FileIn(Plain):
    """A photo or a file of a subject."""

    file = serializers.FileField(
        help_text="JPEG, PNG, WebP, PDF, XLSX, DOCX or UTF-8 text, at most 25 MB.", max_length=200
    )
    kind = serializers.ChoiceField(choices=SUBJECT_KINDS, help_text="What it is about.")
    subject_id = serializers.IntegerField(min_value=1)
    caption = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    client_key = serializers.UUIDField(
        help_text="Made by the client; sending it again gives the same file."
    )
    punch_item_id = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    step_id = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    checkout_point_id = serializers.IntegerField(required=False, allow_null=True, min_value=1)

    def validate_file(self, file: UploadedFile[Any]) -> UploadedFile[Any]:
        """Refuse a file that is too large before it is read."""
        if (file.size or 0) > MAX_FILE_BYTES:
            raise serializers.ValidationError(
                f"At most {MAX_FILE_BYTES // 1024**2} MB are accepted."
            )
        return file


class FileCaptionIn(Plain):
    """A file's new caption."""

    caption = serializers.CharField(max_length=200, allow_blank=True)


class FileOut(Plain):
    """What is known of a photo or a file."""

    id = serializers.IntegerField()
    file_kind = serializers.ChoiceField(choices=FILE_KINDS)
    kind = serializers.ChoiceField(choices=SUBJECT_KINDS, help_text="What it is about.")
    subject_id = serializers.IntegerField()
    subject = serializers.CharField()
    floor = serializers.CharField()
    file_name = serializers.CharField()
    media_type = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")
    sha256 = serializers.CharField()
    width_px = serializers.IntegerField(allow_null=True)
    height_px = serializers.IntegerField(allow_null=True)
    taken_at = serializers.DateTimeField(allow_null=True)
    latitude_deg = serializers.FloatField(allow_null=True)
    longitude_deg = serializers.FloatField(allow_null=True)
    caption = serializers.CharField()
    punch_item_id = serializers.IntegerField(allow_null=True)
    step_id = serializers.IntegerField(allow_null=True)
    checkout_point_id = serializers.IntegerField(allow_null=True)
    added_by_id = serializers.IntegerField()
    added_by = serializers.CharField()
    added_at = serializers.DateTimeField()
    archived_at = serializers.DateTimeField(allow_null=True)


_SAME = (
    "id",
    "file_name",
    "media_type",
    "size",
    "sha256",
    "width_px",
    "height_px",
    "taken_at",
    "latitude_deg",
    "longitude_deg",
    "caption",
    "punch_item_id",
    "step_id",
    "checkout_point_id",
    "added_by_id",
    "added_by",
    "added_at",
    "archived_at",
)


def file_given(row: FileRow) -> dict[str, Any]:
    """A file as plain values; where it lies in the store is nobody's business."""
    return {
        "file_kind": row.kind,
        "kind": row.subject.kind,
        "subject_id": row.subject.id,
        "subject": row.subject.label,
        "floor": row.subject.floor,
        **{name: getattr(row, name) for name in _SAME},
    }
