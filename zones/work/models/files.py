"""Photos and files."""

from __future__ import annotations

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import Q

from zones.work.models.base import OUTLET, SUBJECTS_WITH_OUTLET, OnSubject, exactly_one, values

FILE_KINDS = (("photo", "photo"), ("file", "file"))


@pghistory.track()
class Attachment(OnSubject):
    """A photo or a file about a subject; its position and time are taken out of the picture."""

    outlet = models.ForeignKey(
        OUTLET, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    punch_item = models.ForeignKey(
        "work.PunchItem", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    step = models.ForeignKey(
        "work.Step", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    checkout_point = models.ForeignKey(
        "work.CheckoutPoint", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    kind = models.CharField(max_length=5, choices=FILE_KINDS)
    file = models.FileField(upload_to="work/%Y/%m/", max_length=200)
    thumbnail = models.FileField(upload_to="work/%Y/%m/", max_length=200, blank=True)
    file_name = models.CharField(max_length=200)
    media_type = models.CharField(max_length=80)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    width_px = models.PositiveIntegerField(null=True, blank=True)
    height_px = models.PositiveIntegerField(null=True, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)
    caption = models.CharField(max_length=200, blank=True)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField()
    archived_at = models.DateTimeField(null=True, blank=True)
    client_key = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "id"], name="attachment_project_id"),
            models.CheckConstraint(
                condition=exactly_one(*SUBJECTS_WITH_OUTLET), name="attachment_one_subject"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=values(FILE_KINDS)), name="attachment_kind_known"
            ),
            models.CheckConstraint(
                condition=(Q(latitude_deg=None) & Q(longitude_deg=None))
                | Q(
                    # A comparison with nothing is neither true nor false, and would pass.
                    latitude_deg__isnull=False,
                    longitude_deg__isnull=False,
                    latitude_deg__gte=-90,
                    latitude_deg__lte=90,
                    longitude_deg__gte=-180,
                    longitude_deg__lte=180,
                ),
                name="attachment_position_range",
            ),
            models.CheckConstraint(
                condition=Q(kind="file") | Q(width_px__isnull=False, height_px__isnull=False),
                name="attachment_photo_has_size",
            ),
        ]

    def __str__(self) -> str:
        return self.file_name
