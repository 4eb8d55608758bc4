"""Punch items and what happened to each."""

from __future__ import annotations

import pghistory
import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q

from zones.work.domain import words
from zones.work.models.base import (
    OUTLET,
    PROJECT,
    SUBJECTS_WITH_OUTLET,
    OnSubject,
    exactly_one,
    values,
)

PUNCH_ENTRIES = (
    ("opened", "opened"),
    ("changed", "changed"),
    ("answered", "answered"),
    ("verified", "verified"),
    ("reopened", "reopened"),
)


@pghistory.track()
class PunchItem(OnSubject):
    """Something that a trade owes. Only the opener's side or the office verifies it."""

    outlet = models.ForeignKey(
        OUTLET, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    number = models.PositiveIntegerField()
    trade = models.CharField("owed by", max_length=12, choices=words.TRADES)
    text = models.TextField("what is to be done", max_length=2000)
    severity = models.CharField(max_length=8, choices=words.SEVERITIES, default="mend")
    state = models.CharField(max_length=8, choices=words.PUNCH_STATES, default="open")
    due_date = models.DateField("due", null=True, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # Role of the opener, and trade of an installer: the side that may verify.
    opener_role = models.CharField(max_length=12)
    opener_trade = models.CharField(max_length=12, blank=True)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    opened_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True, blank=True)
    verified_at = models.DateTimeField(null=True, blank=True)
    # The checkout point whose failure opened the item.
    checkout_point = models.ForeignKey(
        "work.CheckoutPoint", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    client_key = models.UUIDField(unique=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["project", "number"], name="punchitem_number_unique"),
            models.UniqueConstraint(fields=["project", "id"], name="punchitem_project_id"),
            models.CheckConstraint(
                condition=exactly_one(*SUBJECTS_WITH_OUTLET), name="punchitem_one_subject"
            ),
            models.CheckConstraint(condition=~Q(text=""), name="punchitem_text_given"),
            models.CheckConstraint(
                condition=Q(trade__in=values(words.TRADES))
                & Q(severity__in=values(words.SEVERITIES)),
                name="punchitem_words_known",
            ),
            models.CheckConstraint(
                condition=Q(state="open", answered_at=None, verified_at=None)
                | Q(state="answered", answered_at__isnull=False, verified_at=None)
                | Q(state="verified", verified_at__isnull=False),
                name="punchitem_state_whole",
            ),
        ]
        indexes = [
            models.Index(fields=["project", "state", "trade"], name="punchitem_owed"),
        ]
        triggers = [
            pgtrigger.FSM(
                name="punchitem_states",
                field="state",
                transitions=[
                    ("open", "answered"),
                    ("open", "verified"),
                    ("answered", "open"),
                    ("answered", "verified"),
                    ("verified", "open"),
                ],
            )
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.text[:60]}"


class PunchEntry(models.Model):
    """One thing that happened to a punch item; never changed afterwards."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    item = models.ForeignKey(PunchItem, on_delete=models.CASCADE, related_name="entries")
    kind = models.CharField(max_length=10, choices=PUNCH_ENTRIES)
    text = models.TextField(max_length=2000, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=values(PUNCH_ENTRIES)), name="punchentry_kind_known"
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["answered", "reopened"]) | ~Q(text=""),
                name="punchentry_text_given",
            ),
        ]
        triggers = [pgtrigger.Protect(name="punchentry_stays", operation=pgtrigger.Update)]

    def __str__(self) -> str:
        return self.kind
