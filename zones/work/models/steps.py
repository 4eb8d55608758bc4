"""Steps of a project's catalogue, what was said of them, and who is to do what by when."""

from __future__ import annotations

import pghistory
import pgtrigger
from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from zones.work.domain import words
from zones.work.models.base import (
    PROJECT,
    SUBJECTS,
    OnSubject,
    bulk_history,
    exactly_one,
    values,
)

NO_CIRCLE = """
    -- Two sessions could close a circle together, each blind to what the other has not committed.
    PERFORM pg_advisory_xact_lock(22505, NEW.project_id::int);
    IF EXISTS (
        WITH RECURSIVE earlier(step_id) AS (
            SELECT NEW.before_id
            UNION
            SELECT b.before_id FROM work_stepbefore b JOIN earlier e ON b.step_id = e.step_id
        )
        SELECT 1 FROM earlier WHERE step_id = NEW.step_id
    ) THEN
        RAISE EXCEPTION 'step % would wait for itself', NEW.step_id
            USING ERRCODE = 'check_violation', CONSTRAINT = 'stepbefore_no_circle';
    END IF;
    RETURN NEW;
"""


@pghistory.track()
class Step(models.Model):
    """A step of the project's catalogue."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    # Stays when the name changes: proofs of other concerns name the step by it.
    key = models.SlugField(max_length=60)
    name = models.CharField(max_length=100)
    trade = models.CharField(max_length=12, choices=words.TRADES)
    per = models.CharField("done once for each", max_length=12, choices=words.PER, default="unit")
    position = models.PositiveIntegerField()
    budget_h = models.FloatField("budgeted hours", default=0.0)
    # Applies when the unit has one of these (any when empty) and all of ``needs``.
    heats = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    fans = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    needs = ArrayField(models.CharField(max_length=20), default=list, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["project", "key"],
                name="step_key_unique",
                violation_error_message="There is a step with this key already.",
            ),
            models.UniqueConstraint(
                Upper("name"),
                "project",
                name="step_name_unique",
                condition=Q(archived_at=None),
                violation_error_message="There is a step with this name already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="step_project_id"),
            models.CheckConstraint(condition=~Q(name=""), name="step_name_given"),
            models.CheckConstraint(
                condition=Q(trade__in=values(words.TRADES)), name="step_trade_known"
            ),
            models.CheckConstraint(condition=Q(per__in=values(words.PER)), name="step_per_known"),
            models.CheckConstraint(
                condition=Q(budget_h__gte=0, budget_h__lte=1000),
                name="step_budget_range",
                violation_error_message="Budgeted hours lie between 0 and 1000.",
            ),
            models.CheckConstraint(
                condition=Q(heats__contained_by=["none", "hot-water", "electric"])
                & Q(fans__contained_by=["none", "parallel", "series"])
                & Q(needs__contained_by=values(words.NEEDS)),
                name="step_options_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class StepBefore(models.Model):
    """``before`` has to be done before ``step``."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="befores")
    before = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="afters")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["step", "before"], name="stepbefore_unique"),
            models.CheckConstraint(condition=~Q(step=F("before")), name="stepbefore_not_itself"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="stepbefore_no_circle",
                operation=pgtrigger.Insert | pgtrigger.Update,
                when=pgtrigger.Before,
                func=NO_CIRCLE,
            )
        ]

    def __str__(self) -> str:
        return f"{self.before_id} before {self.step_id}"


@pghistory.track(*bulk_history())
class StepMark(OnSubject):
    """What a person said of a step of one subject last. Waiting and ready are never stored."""

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=16, choices=words.MARKS)
    note = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=exactly_one(*SUBJECTS), name="stepmark_one_subject"),
            *(
                models.UniqueConstraint(
                    fields=["step", column],
                    condition=Q(**{f"{column}__isnull": False}),
                    name=f"stepmark_{column}_unique",
                )
                for column in SUBJECTS
            ),
            models.CheckConstraint(
                condition=Q(state__in=values(words.MARKS)), name="stepmark_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["held", "not-applicable"]) | ~Q(note=""),
                name="stepmark_reason_given",
                violation_error_message="Say why.",
            ),
        ]
        indexes = [models.Index(fields=["project", "step", "state"], name="stepmark_board")]

    def __str__(self) -> str:
        return self.state


@pghistory.track(*bulk_history())
class Assignment(OnSubject):
    """Who is to do a step of a subject, and by when.

    A changed promise ends the row and begins another, so that the share of work that was done
    as promised can be told for every past week.
    """

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="+")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    due_date = models.DateField("due", null=True, blank=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=exactly_one(*SUBJECTS), name="assignment_one_subject"),
            *(
                models.UniqueConstraint(
                    fields=["step", column],
                    condition=Q(**{f"{column}__isnull": False}) & Q(ended_at=None),
                    name=f"assignment_{column}_one_current",
                )
                for column in SUBJECTS
            ),
            models.CheckConstraint(
                condition=Q(person__isnull=False) | Q(due_date__isnull=False),
                name="assignment_says_something",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=F("made_at")),
                name="assignment_ends_later",
            ),
        ]
        indexes = [models.Index(fields=["project", "due_date"], name="assignment_due")]

    def __str__(self) -> str:
        return f"by {self.due_date}"


@pghistory.track()
class PlannedPeriod(models.Model):
    """When a trade is to work on a floor: the plan that progress is held against."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    # "" stands for every floor and for every trade; the more exact row counts.
    floor = models.CharField(max_length=40, blank=True)
    trade = models.CharField(max_length=12, choices=words.TRADES, blank=True)
    start_date = models.DateField("begins")
    finish_date = models.DateField("ends")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["project", "floor", "trade"],
                name="plannedperiod_unique",
                violation_error_message="This floor and trade have a planned period already.",
            ),
            models.CheckConstraint(
                condition=Q(trade__in=["", *values(words.TRADES)]), name="plannedperiod_trade_known"
            ),
            models.CheckConstraint(
                condition=Q(finish_date__gte=F("start_date")),
                name="plannedperiod_in_order",
                violation_error_message="The period ends before it begins.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.start_date} to {self.finish_date}"
