"""Checkout of points: what is to be looked at, and what was seen."""

from __future__ import annotations

import pghistory
from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from zones.work.domain import words
from zones.work.models.base import PROJECT, UNIT, bulk_history, values

VERDICTS = (("", "not judged"), ("pass", "passes"), ("fail", "fails"))


class PointShape(models.Model):
    """What a checkout point asks for and how it is judged."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    position = models.PositiveIntegerField()
    # Names the point for proofs and copies: "supply-voltage", "damper-stroke".
    key = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    kind = models.CharField("judged by", max_length=10, choices=words.POINT_KINDS)
    # Kind of quantity of the observed value, "" for plain text or yes and no.
    quantity = models.CharField(max_length=40, blank=True)
    tolerance_si = models.FloatField("allowed difference from the reference", null=True, blank=True)
    low_si = models.FloatField("lowest", null=True, blank=True)
    high_si = models.FloatField("highest", null=True, blank=True)
    expected = models.CharField(max_length=200, blank=True)
    # Where the expected value comes from when it differs from unit to unit.
    source = models.CharField(max_length=20, choices=words.POINT_SOURCES, blank=True)
    owes = models.CharField("who mends it", max_length=12, choices=words.TRADES, default="controls")
    is_required = models.BooleanField("needed for the step", default=True)

    class Meta:
        abstract = True


@pghistory.track()
class CheckTemplate(models.Model):
    """A list of points for units with a controller model and options."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=100)
    controller_model = models.ForeignKey(
        "inventory.ControllerModel",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    heats = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    fans = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("name"),
                "project",
                name="checktemplate_name_unique",
                condition=Q(archived_at=None),
                violation_error_message="There is a checkout list with this name already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="checktemplate_project_id"),
            models.CheckConstraint(condition=~Q(name=""), name="checktemplate_name_given"),
            models.CheckConstraint(
                condition=Q(heats__contained_by=["none", "hot-water", "electric"])
                & Q(fans__contained_by=["none", "parallel", "series"]),
                name="checktemplate_options_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class CheckTemplatePoint(PointShape):
    """One point of a checkout list."""

    template = models.ForeignKey(CheckTemplate, on_delete=models.CASCADE, related_name="points")
    heats = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    fans = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    needs = ArrayField(models.CharField(max_length=20), default=list, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["template", "key"], name="checktemplatepoint_key_unique"
            ),
            models.CheckConstraint(condition=~Q(name=""), name="checktemplatepoint_name_given"),
            models.CheckConstraint(
                condition=Q(kind__in=values(words.POINT_KINDS))
                & Q(owes__in=values(words.TRADES))
                & Q(source__in=values(words.POINT_SOURCES)),
                name="checktemplatepoint_words_known",
            ),
            models.CheckConstraint(
                condition=Q(heats__contained_by=["none", "hot-water", "electric"])
                & Q(fans__contained_by=["none", "parallel", "series"])
                & Q(needs__contained_by=values(words.NEEDS)),
                name="checktemplatepoint_options_known",
            ),
            models.CheckConstraint(
                condition=(Q(tolerance_si=None) | Q(tolerance_si__gte=0))
                & (Q(low_si=None) | Q(high_si=None) | Q(low_si__lte=F("high_si"))),
                name="checktemplatepoint_limits",
                violation_error_message="The lowest value is above the highest.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Checkout(models.Model):
    """The checkout of one unit; a later one takes its place."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    unit = models.ForeignKey(UNIT, on_delete=models.CASCADE, related_name="+")
    # As it was called when the checkout began; lists change later.
    template_name = models.CharField(max_length=100)
    reference_instrument = models.CharField(max_length=120, blank=True)
    # Controller, reheat, fan, options and address of the unit when the checkout began: when one
    # of them is another today, the checkout no longer holds.
    profile = models.JSONField(default=dict, blank=True)
    note = models.TextField(blank=True)
    begun_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    begun_at = models.DateTimeField()
    completed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    completed_at = models.DateTimeField(null=True, blank=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["unit"],
                condition=Q(superseded_at=None),
                name="checkout_one_current",
                violation_error_message="This unit has a checkout already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="checkout_project_id"),
            models.CheckConstraint(
                condition=Q(completed_at=None, completed_by=None)
                | Q(completed_at__isnull=False, completed_by__isnull=False),
                name="checkout_completed_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.template_name


@pghistory.track(*bulk_history())
class CheckoutPoint(PointShape):
    """One point of a checkout: what is expected, what was seen, and the verdict."""

    checkout = models.ForeignKey(Checkout, on_delete=models.CASCADE, related_name="points")
    observed_si = models.FloatField("observed", null=True, blank=True)
    observed_text = models.CharField("observed", max_length=200, blank=True)
    reference_si = models.FloatField("reference", null=True, blank=True)
    # For a point that is only seen: True right, False wrong.
    is_right = models.BooleanField(null=True, blank=True)
    verdict = models.CharField(max_length=4, choices=VERDICTS, blank=True)
    entered = models.JSONField(default=dict, blank=True)
    note = models.CharField(max_length=400, blank=True)
    observed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    observed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["checkout", "key"], name="checkoutpoint_key_unique"),
            models.UniqueConstraint(fields=["project", "id"], name="checkoutpoint_project_id"),
            models.CheckConstraint(
                condition=Q(kind__in=values(words.POINT_KINDS))
                & Q(owes__in=values(words.TRADES))
                & Q(source__in=values(words.POINT_SOURCES)),
                name="checkoutpoint_words_known",
            ),
            models.CheckConstraint(
                condition=Q(verdict__in=["", "pass", "fail"]), name="checkoutpoint_verdict_known"
            ),
            models.CheckConstraint(
                condition=Q(verdict="")
                | (Q(observed_by__isnull=False) & Q(observed_at__isnull=False)),
                name="checkoutpoint_judged_by_someone",
            ),
        ]

    def __str__(self) -> str:
        return self.name
