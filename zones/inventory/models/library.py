"""The library that projects share: box models with their inlets, controller models."""

from __future__ import annotations

import pghistory
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower


@pghistory.track()
class BoxModel(models.Model):
    """A kind of terminal unit with its inlet sizes."""

    name = models.CharField("box model", max_length=80)
    note = models.TextField("note", blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="boxmodel_name_unique",
                violation_error_message="There is a box model of this name already.",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="boxmodel_name_given"),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class BoxInlet(models.Model):
    """One inlet size of a box model. A change never rewrites a test: tests keep what they used."""

    box_model = models.ForeignKey(BoxModel, on_delete=models.CASCADE, related_name="inlets")
    label = models.CharField("inlet size as written", max_length=24)
    diameter_m = models.FloatField("nominal diameter")
    free_area_m2 = models.FloatField("free area")
    nominal_k_m3_s_sqrt_pa = models.FloatField("nominal K factor")
    scheduled_low_m3_s = models.FloatField("smallest scheduled airflow", null=True, blank=True)
    scheduled_high_m3_s = models.FloatField("largest scheduled airflow", null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("label"),
                "box_model",
                name="boxinlet_label_unique",
                violation_error_message="This box model has an inlet of this size already.",
            ),
            models.CheckConstraint(
                condition=Q(diameter_m__gt=0, free_area_m2__gt=0, nominal_k_m3_s_sqrt_pa__gt=0),
                name="boxinlet_positive",
                violation_error_message="Diameter, free area and K factor must be above zero.",
            ),
            models.CheckConstraint(
                condition=Q(scheduled_low_m3_s=None)
                | Q(scheduled_high_m3_s=None)
                | Q(
                    scheduled_low_m3_s__gte=0,
                    scheduled_low_m3_s__lte=models.F("scheduled_high_m3_s"),
                ),
                name="boxinlet_range_ordered",
                violation_error_message="The smallest scheduled airflow is above the largest.",
            ),
        ]

    def __str__(self) -> str:
        return self.label


@pghistory.track()
class ControllerModel(models.Model):
    """A kind of controller, as far as airflow is concerned."""

    name = models.CharField("controller model", max_length=80)
    readable_pressure_pa = models.FloatField("lowest readable pressure", null=True, blank=True)
    span_pa = models.FloatField("pressure range", null=True, blank=True)
    accuracy_fraction = models.FloatField("accuracy, share of reading", null=True, blank=True)
    accuracy_floor_pa = models.FloatField("accuracy, fixed part", null=True, blank=True)
    note = models.TextField("note", blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="controllermodel_name_unique",
                violation_error_message="There is a controller model of this name already.",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="controllermodel_name_given"),
            models.CheckConstraint(
                condition=(Q(readable_pressure_pa=None) | Q(readable_pressure_pa__gt=0))
                & (Q(span_pa=None) | Q(span_pa__gt=0))
                & (Q(accuracy_fraction=None) | Q(accuracy_fraction__gte=0))
                & (Q(accuracy_floor_pa=None) | Q(accuracy_floor_pa__gte=0)),
                name="controllermodel_positive",
                violation_error_message="Pressures and accuracies can't be negative.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
