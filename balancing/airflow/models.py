"""Instruments, flow tests, points and readings. Quantities in SI."""

from __future__ import annotations

import pghistory
import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper

PROJECT = "accounts.Project"


class InstrumentKind(models.TextChoices):
    """What an instrument measures."""

    HOOD = "hood", "flow hood"
    MANOMETER = "manometer", "manometer with pitot tube"
    ANEMOMETER = "anemometer", "anemometer"
    THERMOMETER = "thermometer", "thermometer"


class FlowTestState(models.TextChoices):
    """Where a flow test stands."""

    OPEN = "open", "open"
    SUBMITTED = "submitted", "handed in"
    RETURNED = "returned", "returned"
    ACCEPTED = "accepted", "accepted"
    SUPERSEDED = "superseded", "superseded"


class RoundChoice(models.TextChoices):
    """Before or after the change of K."""

    AS_FOUND = "as-found", "as found"
    AS_LEFT = "as-left", "as left"


class SetpointChoice(models.TextChoices):
    """Airflow at which a point is taken."""

    COOLING_MAX = "cooling-max", "cooling maximum"
    MIDDLE = "middle", "middle"
    COOLING_MIN = "cooling-min", "cooling minimum"
    HEATING_MAX = "heating-max", "heating maximum"


class KMethod(models.TextChoices):
    """How the K factor as left was found."""

    KEPT = "kept", "kept as found"
    ONE_READING = "one-reading", "one reading"
    LEAST_SQUARES = "least-squares", "least squares"
    LEAST_RELATIVE = "least-relative", "least relative squares"
    ZERO_OFFSET = "zero-offset", "with zero offset"
    BY_HAND = "by-hand", "entered by hand"


@pghistory.track()
class Instrument(models.Model):
    """A measuring instrument used on the project."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=12, choices=InstrumentKind, default=InstrumentKind.HOOD)
    name = models.CharField("name", max_length=80)
    serial = models.CharField("serial number", max_length=60)
    accuracy_fraction = models.FloatField("accuracy, share of reading", default=0.03)
    # Fixed part in m³/s for a hood or an anemometer's flow, in Pa for a manometer.
    accuracy_floor_si = models.FloatField("accuracy, fixed part", default=0.0)
    minimum_m3_s = models.FloatField("smallest flow it reads", null=True, blank=True)
    calibrated_date = models.DateField("calibrated on", null=True, blank=True)
    due_date = models.DateField("calibration due", null=True, blank=True)
    certificate = models.FileField(upload_to="certificates/%Y/", blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("serial"),
                "project",
                name="instrument_serial_unique",
                violation_error_message="There is an instrument with this serial number already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="instrument_project_id"),
            models.CheckConstraint(
                condition=Q(kind__in=InstrumentKind.values), name="instrument_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(accuracy_fraction__gte=0, accuracy_fraction__lte=0.5)
                & Q(accuracy_floor_si__gte=0),
                name="instrument_accuracy_range",
                violation_error_message="The accuracy lies between 0 % and 50 % of reading.",
            ),
            models.CheckConstraint(
                condition=Q(calibrated_date=None)
                | Q(due_date=None)
                | Q(due_date__gt=models.F("calibrated_date")),
                name="instrument_due_after_calibrated",
                violation_error_message="The calibration is due before it was made.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.serial})"


@pghistory.track()
class FlowTest(models.Model):
    """One airflow test of one terminal unit."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    unit = models.ForeignKey("inventory.TerminalUnit", on_delete=models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    client_key = models.UUIDField(unique=True)
    state = models.CharField(max_length=12, choices=FlowTestState, default=FlowTestState.OPEN)
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    # Who typed it when the office enters readings for the technician.
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    tested_date = models.DateField("tested on")
    air_degc = models.FloatField("air temperature at the sensor", null=True, blank=True)
    humidity_fraction = models.FloatField("relative humidity", null=True, blank=True)
    elevation_m = models.FloatField("elevation", default=0.0)
    # How the hood's number is meant: corrected to actual flow by the meter, or not.
    hood_reads_actual = models.BooleanField("hood corrects for density", default=True)
    zero_reading_pa = models.FloatField("zero reading", null=True, blank=True)
    k_as_found_m3_s_sqrt_pa = models.FloatField("K as found", null=True, blank=True)
    k_as_left_m3_s_sqrt_pa = models.FloatField("K as left", null=True, blank=True)
    k_method = models.CharField(max_length=16, choices=KMethod, blank=True)
    # Reason where the change of K is larger than 20 %, or K was entered by hand.
    k_reason = models.TextField(blank=True)
    entered = models.JSONField(default=dict, blank=True)
    # The unit as it stood when the test was begun: setpoints, inlet, K, limits (SI).
    design = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    submitted_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decision_note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["unit", "number"], name="flowtest_number_unique"),
            models.UniqueConstraint(fields=["project", "id"], name="flowtest_project_id"),
            models.UniqueConstraint(
                fields=["unit"],
                condition=Q(state__in=["open", "submitted", "returned"]),
                name="flowtest_one_running",
                violation_error_message="This unit has a test in hand already.",
            ),
            models.UniqueConstraint(
                fields=["unit"],
                condition=Q(state="accepted"),
                name="flowtest_one_accepted",
                violation_error_message="This unit has an accepted test already.",
            ),
            models.CheckConstraint(
                condition=Q(state__in=FlowTestState.values), name="flowtest_state_known"
            ),
            models.CheckConstraint(
                condition=Q(k_method__in=["", *KMethod.values]), name="flowtest_method_known"
            ),
            models.CheckConstraint(
                condition=(Q(k_as_found_m3_s_sqrt_pa=None) | Q(k_as_found_m3_s_sqrt_pa__gt=0))
                & (Q(k_as_left_m3_s_sqrt_pa=None) | Q(k_as_left_m3_s_sqrt_pa__gt=0)),
                name="flowtest_k_positive",
                violation_error_message="A K factor is above zero.",
            ),
            models.CheckConstraint(
                condition=Q(humidity_fraction=None)
                | Q(humidity_fraction__gte=0, humidity_fraction__lte=1),
                name="flowtest_humidity_range",
                violation_error_message="The relative humidity lies between 0 % and 100 %.",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["accepted", "superseded"])
                | Q(decided_at__isnull=False, decided_by__isnull=False),
                name="flowtest_accepted_by_someone",
            ),
        ]
        triggers = [
            pgtrigger.FSM(
                name="flowtest_states",
                field="state",
                transitions=[
                    ("open", "submitted"),
                    ("submitted", "returned"),
                    ("submitted", "accepted"),
                    ("submitted", "open"),
                    ("returned", "submitted"),
                    ("returned", "open"),
                    ("accepted", "superseded"),
                ],
            ),
            pgtrigger.Trigger(
                name="flowtest_accepted_stays",
                when=pgtrigger.Before,
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__state__in=["accepted", "superseded"]),
                # Only the state may move on, and the version with it.
                func="""
                    IF OLD.state = 'accepted' AND NEW.state = 'superseded'
                        AND to_jsonb(NEW) - 'state' - 'version'
                            = to_jsonb(OLD) - 'state' - 'version'
                    THEN RETURN NEW; END IF;
                    RAISE EXCEPTION 'an accepted flow test can only be superseded';
                """,
            ),
            pgtrigger.Protect(
                name="flowtest_accepted_kept",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__state__in=["accepted", "superseded"]),
            ),
        ]

    def __str__(self) -> str:
        return f"flow test {self.number}"


def _kept_with_accepted_test(name: str, tests: str) -> pgtrigger.Trigger:
    """Refuse every change below an accepted or superseded test.

    ``tests`` is an SQL list or query of the tests that the row belongs to, before and after.
    """
    return pgtrigger.Trigger(
        name=name,
        when=pgtrigger.Before,
        operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
        func=f"""
            IF EXISTS (
                SELECT 1 FROM airflow_flowtest
                WHERE state IN ('accepted', 'superseded') AND id IN ({tests})
            ) THEN
                RAISE EXCEPTION 'an accepted flow test can only be superseded';
            END IF;
            IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
            RETURN NEW;
        """,  # noqa: S608  # the query is a constant of this module
    )


@pghistory.track()
class FlowPoint(models.Model):
    """One point of a test: a setpoint in a round, what the controller said, what was measured."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    test = models.ForeignKey(FlowTest, on_delete=models.CASCADE, related_name="points")
    round = models.CharField(max_length=8, choices=RoundChoice)
    setpoint = models.CharField(max_length=12, choices=SetpointChoice)
    target_m3_s = models.FloatField("target", null=True, blank=True)
    reported_m3_s = models.FloatField("reported by the controller", null=True, blank=True)
    sensed_pressure_pa = models.FloatField("sensed pressure", null=True, blank=True)
    damper_fraction = models.FloatField("damper position", null=True, blank=True)
    # One measured value, when the flow is not the sum of outlets.
    measured_m3_s = models.FloatField("measured", null=True, blank=True)
    is_traverse = models.BooleanField("measured by traverse", default=False)
    entered = models.JSONField(default=dict, blank=True)
    note = models.TextField(blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["test", "round", "setpoint"], name="flowpoint_setpoint_unique"
            ),
            models.UniqueConstraint(fields=["project", "id"], name="flowpoint_project_id"),
            models.CheckConstraint(
                condition=Q(round__in=RoundChoice.values), name="flowpoint_round_known"
            ),
            models.CheckConstraint(
                condition=Q(setpoint__in=SetpointChoice.values), name="flowpoint_setpoint_known"
            ),
            models.CheckConstraint(
                condition=(Q(measured_m3_s=None) | Q(measured_m3_s__gte=0))
                & (Q(reported_m3_s=None) | Q(reported_m3_s__gte=0))
                & (Q(target_m3_s=None) | Q(target_m3_s__gte=0))
                & (Q(damper_fraction=None) | Q(damper_fraction__gte=0, damper_fraction__lte=1)),
                name="flowpoint_values",
                violation_error_message="Airflows can't be negative; a damper stands between 0 % "
                "and 100 %.",
            ),
        ]
        triggers = [
            _kept_with_accepted_test("flowpoint_accepted_stays", "NEW.test_id, OLD.test_id")
        ]

    def __str__(self) -> str:
        return f"{self.round}, {self.setpoint}"


@pghistory.track()
class HoodReading(models.Model):
    """One hood reading of one outlet at one point."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    point = models.ForeignKey(FlowPoint, on_delete=models.CASCADE, related_name="readings")
    outlet = models.ForeignKey("inventory.Outlet", on_delete=models.PROTECT, related_name="+")
    repeat = models.PositiveSmallIntegerField(default=1)
    flow_m3_s = models.FloatField("hood reading")
    flow_as_entered = models.CharField(max_length=80, blank=True)
    # The outlet as it stood when it was read.
    design_m3_s = models.FloatField(null=True, blank=True)
    hood_factor = models.FloatField(default=1.0)
    client_key = models.UUIDField(unique=True)
    taken_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["point", "outlet", "repeat"], name="hoodreading_repeat_unique"
            ),
            models.CheckConstraint(
                condition=Q(repeat__gte=1, repeat__lte=3),
                name="hoodreading_three_repeats",
                violation_error_message="Up to three repeats are kept.",
            ),
            models.CheckConstraint(
                condition=Q(flow_m3_s__gte=0),
                name="hoodreading_not_negative",
                violation_error_message="A hood reading can't be negative.",
            ),
        ]
        triggers = [
            _kept_with_accepted_test(
                "hoodreading_accepted_stays",
                "SELECT test_id FROM airflow_flowpoint WHERE id IN (NEW.point_id, OLD.point_id)",
            )
        ]

    def __str__(self) -> str:
        return f"repeat {self.repeat}"
