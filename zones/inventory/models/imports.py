"""Schedule imports: the file as received, how it was read, and what became of each row."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from zones.inventory.models.units import PROJECT, TerminalUnit


class ImportState(models.TextChoices):
    """Where an import stands."""

    UPLOADED = "uploaded", "file received"
    PREVIEW = "preview", "in preview"
    APPLIED = "applied", "applied"
    DROPPED = "dropped", "dropped"


class ImportTarget(models.TextChoices):
    """What a file lists."""

    UNITS = "units", "terminal units"
    OUTLETS = "outlets", "outlets"


class WorkState(models.TextChoices):
    """Where the reading of a file stands."""

    IDLE = "idle", "idle"
    WAITING = "waiting", "waiting"
    RUNNING = "running", "in hand"
    FAILED = "failed", "stopped"


class RowOutcome(models.TextChoices):
    """What a row of a schedule does to the record."""

    NEW = "new", "new"
    CHANGED = "changed", "changed"
    UNCHANGED = "unchanged", "unchanged"
    REFUSED = "refused", "refused"
    IGNORED = "ignored", "not a unit"


class ScheduleImport(models.Model):
    """One received schedule file."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    label = models.CharField("what it is", max_length=80, blank=True)
    target = models.CharField(max_length=10, choices=ImportTarget, default=ImportTarget.UNITS)
    file = models.FileField(upload_to="schedules/%Y/%m/")
    file_name = models.CharField(max_length=200)
    file_size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    sheet = models.CharField(max_length=120, blank=True)
    heading_row = models.PositiveIntegerField(null=True)
    # Last heading row when headings span several rows.
    heading_end_row = models.PositiveIntegerField(null=True)
    units_row = models.PositiveIntegerField(null=True)
    first_row = models.PositiveIntegerField(null=True)
    last_row = models.PositiveIntegerField(null=True)
    # The sheets of the file, and how the program would read the chosen one: a cache for pages.
    sheets = models.JSONField(default=list)
    proposal = models.JSONField(default=dict)
    # Column index (as text) -> {"field": ..., "unit": ...}.
    mapping = models.JSONField(default=dict)
    # Box model for sizes without one, and whether "N/A" counts as empty.
    choices = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=ImportState, default=ImportState.UPLOADED)
    # Order among applied imports of the project: 0 the first, then 1, 2, ...; null until applied.
    revision = models.PositiveIntegerField(null=True)
    counts = models.JSONField(default=dict)
    notes = models.JSONField(default=list)
    # Digest of the records that the preview was held against.
    base_mark = models.CharField(max_length=64, blank=True)
    work_state = models.CharField(max_length=10, choices=WorkState, default=WorkState.IDLE)
    # Changes with every start and stop, so that a job that was stopped notices.
    work_key = models.PositiveIntegerField(default=0)
    work_job = models.PositiveBigIntegerField(null=True)
    work_done = models.PositiveIntegerField(default=0)
    work_total = models.PositiveIntegerField(default=0)
    work_words = models.CharField(max_length=400, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+"
    )
    created_at = models.DateTimeField()
    applied_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+"
    )
    applied_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "id"], name="scheduleimport_project_id"),
            models.UniqueConstraint(
                fields=["project", "revision"], name="scheduleimport_revision_unique"
            ),
            models.CheckConstraint(
                condition=Q(state__in=ImportState.values), name="scheduleimport_state_known"
            ),
            models.CheckConstraint(
                condition=Q(
                    state="applied",
                    applied_at__isnull=False,
                    revision__isnull=False,
                    target="units",
                )
                | Q(state="applied", applied_at__isnull=False, revision=None, target="outlets")
                | (~Q(state="applied") & Q(applied_at=None, revision=None)),
                name="scheduleimport_applied_whole",
            ),
            models.CheckConstraint(
                condition=Q(target__in=ImportTarget.values), name="scheduleimport_target_known"
            ),
            models.CheckConstraint(
                condition=Q(work_state__in=WorkState.values), name="scheduleimport_work_known"
            ),
        ]

    def __str__(self) -> str:
        return self.file_name


class ScheduleRow(models.Model):
    """One row of a received schedule with its outcome."""

    # The composite keys (project with import, project with unit) hold these three together; a
    # plain key beside each would be checked ten thousand times more for nothing.
    project = models.ForeignKey(
        PROJECT, on_delete=models.CASCADE, related_name="+", db_constraint=False
    )
    schedule_import = models.ForeignKey(
        ScheduleImport, on_delete=models.CASCADE, related_name="rows", db_constraint=False
    )
    row_number = models.PositiveIntegerField()
    tag = models.CharField(max_length=200, blank=True)
    sort_key = models.CharField(max_length=200, blank=True)
    # Tag as it is compared; of an outlet, the unit's and the outlet's.
    key = models.CharField(max_length=420, blank=True)
    # Why the row is no unit.
    reason = models.CharField(max_length=300, blank=True)
    outcome = models.CharField(max_length=10, choices=RowOutcome)
    unit = models.ForeignKey(
        TerminalUnit, on_delete=models.SET_NULL, null=True, related_name="+", db_constraint=False
    )
    # SI values by field name, and what was typed.
    values = models.JSONField(default=dict)
    entered = models.JSONField(default=dict)
    # Field name -> [old, new], SI or text.
    changes = models.JSONField(default=dict)
    # A list of what is wrong: the cell, the field and the message of each.
    problems = models.JSONField(default=list)
    # What the change reopens, one sentence each.
    reopens = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["schedule_import", "row_number"], name="schedulerow_number_unique"
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=RowOutcome.values), name="schedulerow_outcome_known"
            ),
        ]

    def __str__(self) -> str:
        return f"row {self.row_number}"


class ColumnMemory(models.Model):
    """What a heading meant the last time it was mapped in this project."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    target = models.CharField(max_length=10, choices=ImportTarget, default=ImportTarget.UNITS)
    heading = models.CharField(max_length=200)
    field = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["project", "target", "heading"], name="columnmemory_heading_unique"
            )
        ]

    def __str__(self) -> str:
        return self.heading
