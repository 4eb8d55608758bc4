"""Documents: what was drafted and issued, frozen as it stood."""

from __future__ import annotations

import pghistory
import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q

PROJECT = "accounts.Project"


class DocumentKind(models.TextChoices):
    """Kind of document."""

    UNIT_BALANCE = "unit-balance", "Air balance sheet"
    BALANCE_REPORT = "balance-report", "Air balance report"
    POINT_LIST = "point-list", "Point and address list"
    PROGRESS_REPORT = "progress-report", "Progress report"
    PUNCH_LIST = "punch-list", "Punch list"
    CHECKOUT_SHEETS = "checkout-sheets", "Checkout sheets"
    FLOOR_PLAN = "floor-plan", "Floor plan"
    LABEL_SHEET = "label-sheet", "Box labels"


class DocumentState(models.TextChoices):
    """Where a document stands."""

    DRAFT = "draft", "draft"
    ISSUED = "issued", "issued"


class RenderState(models.TextChoices):
    """Where the rendering of a document stands."""

    WAITING = "waiting", "waiting"
    RUNNING = "running", "in hand"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


@pghistory.track(exclude=["dossier", "sections_done", "sections_total"])
class Document(models.Model):
    """One document: scope, the data it was made from, the file and its hash."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=16, choices=DocumentKind)
    title = models.CharField(max_length=160)
    unit = models.ForeignKey(
        "inventory.TerminalUnit", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    air_handler = models.ForeignKey(
        "inventory.AirHandler", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # What narrows it further: floor, trade, sheet of labels and how many of them are gone.
    options = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=8, choices=DocumentState, default=DocumentState.DRAFT)
    # Number in the project ("AB-0007"), given when issued; issue counts issues of one subject.
    number = models.PositiveIntegerField(null=True, blank=True)
    issue = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=240, blank=True)
    dossier = models.JSONField(null=True)
    render_state = models.CharField(max_length=10, choices=RenderState, default=RenderState.WAITING)
    render_error = models.TextField(blank=True)
    sections_done = models.PositiveIntegerField(default=0)
    sections_total = models.PositiveIntegerField(default=0)
    job_id = models.BigIntegerField(null=True, blank=True)
    file = models.FileField(upload_to="documents/%Y/", blank=True)
    page_count = models.PositiveIntegerField(null=True, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    issued_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "id"], name="document_project_id"),
            models.UniqueConstraint(fields=["project", "number"], name="document_number_unique"),
            models.CheckConstraint(
                condition=Q(kind__in=DocumentKind.values), name="document_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(state__in=DocumentState.values), name="document_state_known"
            ),
            models.CheckConstraint(
                condition=Q(render_state__in=RenderState.values), name="document_render_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="draft", number=None, issued_at=None)
                | Q(
                    state="issued",
                    number__isnull=False,
                    issue__isnull=False,
                    issued_at__isnull=False,
                    issued_by__isnull=False,
                    dossier__isnull=False,
                ),
                name="document_issued_whole",
            ),
            models.CheckConstraint(
                condition=~Q(render_state="done") | (~Q(file="") & ~Q(sha256="")),
                name="document_done_has_file",
            ),
        ]
        triggers = [
            # Of an issued document only the rendering may still go on, and only until it is done.
            pgtrigger.Protect(
                name="document_issued_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__state="issued", old__render_state="done"),
            ),
            pgtrigger.Protect(
                name="document_issued_data_stays",
                operation=pgtrigger.UpdateOf(  # type: ignore[no-untyped-call]  # untyped upstream
                    "dossier", "number", "issue", "state", "issued_at"
                ),
                condition=pgtrigger.Q(old__state="issued"),
            ),
            pgtrigger.Protect(
                name="document_issued_kept",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__state="issued"),
            ),
        ]

    def __str__(self) -> str:
        return self.title


class Download(models.Model):
    """Who took a copy of a document, and when."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    document = models.ForeignKey(Document, on_delete=models.CASCADE, related_name="downloads")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person} at {self.at}"
