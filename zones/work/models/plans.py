"""Floor plans."""

from __future__ import annotations

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from zones.work.models.base import PROJECT


@pghistory.track()
class FloorPlan(models.Model):
    """A plan of a floor with its scale.

    Pixels are counted from the upper left corner of the picture, to the right and down.
    Positions of units are in metres from the floor's origin, to the east and north.
    """

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    floor = models.CharField(max_length=40)
    name = models.CharField(max_length=100, blank=True)
    file = models.FileField("as received", upload_to="plans/%Y/%m/", max_length=200)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    page_number = models.PositiveIntegerField(default=1)
    image = models.FileField(upload_to="plans/%Y/%m/", max_length=200)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    # Two points and the distance between them set the scale; null until they are given.
    first_x_px = models.FloatField(null=True, blank=True)
    first_y_px = models.FloatField(null=True, blank=True)
    second_x_px = models.FloatField(null=True, blank=True)
    second_y_px = models.FloatField(null=True, blank=True)
    distance_m = models.FloatField("distance between the two points", null=True, blank=True)
    # Where the origin of the floor's positions lies on the picture.
    origin_x_px = models.FloatField(null=True, blank=True)
    origin_y_px = models.FloatField(null=True, blank=True)
    entered = models.JSONField(default=dict, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField()
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["project", "floor"],
                condition=Q(archived_at=None),
                name="floorplan_one_current",
                violation_error_message="This floor has a plan already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="floorplan_project_id"),
            models.CheckConstraint(condition=~Q(floor=""), name="floorplan_floor_given"),
            models.CheckConstraint(
                condition=Q(width_px__gt=0, height_px__gt=0), name="floorplan_has_size"
            ),
            models.CheckConstraint(
                condition=Q(
                    first_x_px=None,
                    first_y_px=None,
                    second_x_px=None,
                    second_y_px=None,
                    distance_m=None,
                )
                | (
                    Q(
                        first_x_px__isnull=False,
                        first_y_px__isnull=False,
                        second_x_px__isnull=False,
                        second_y_px__isnull=False,
                        # A comparison with nothing is neither true nor false, and would pass.
                        distance_m__isnull=False,
                        distance_m__gt=0,
                    )
                    & (~Q(first_x_px=F("second_x_px")) | ~Q(first_y_px=F("second_y_px")))
                ),
                name="floorplan_scale_whole",
                violation_error_message="The scale needs two different points and a distance.",
            ),
            models.CheckConstraint(
                condition=Q(origin_x_px=None, origin_y_px=None)
                | Q(origin_x_px__isnull=False, origin_y_px__isnull=False),
                name="floorplan_origin_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.floor
