"""Tables of the work."""

from __future__ import annotations

from zones.work.models.checkout import (
    Checkout,
    CheckoutPoint,
    CheckTemplate,
    CheckTemplatePoint,
)
from zones.work.models.files import Attachment
from zones.work.models.plans import FloorPlan
from zones.work.models.punch import PunchEntry, PunchItem
from zones.work.models.steps import Assignment, PlannedPeriod, Step, StepBefore, StepMark

__all__ = [
    "Assignment",
    "Attachment",
    "CheckTemplate",
    "CheckTemplatePoint",
    "Checkout",
    "CheckoutPoint",
    "FloorPlan",
    "PlannedPeriod",
    "PunchEntry",
    "PunchItem",
    "Step",
    "StepBefore",
    "StepMark",
]
