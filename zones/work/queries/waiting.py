"""Ready steps of the person's trade, for the home page."""

from __future__ import annotations

from django.urls import reverse

from projectsite.accounts.access import scope_of
from projectsite.accounts.queries import projects_of
from projectsite.core.scope import Person
from projectsite.core.waiting import WaitingItem
from zones.work.models import Step
from zones.work.queries.board import whole_board
from zones.work.queries.my_work import count_open

MOST_PROJECTS = 5
"""Projects whose board is computed for one home page.

Ready is computed for a whole project at a time, with a fixed number of queries for each. Few
people work in more projects at once; the projects behind these show their count on their own
page.
"""
_IN_WORK = "active"


def ready_steps(person: Person) -> list[WaitingItem]:
    """Count the ready steps of the person's trade in the projects in work."""
    mine = [project.key for project in projects_of(person) if project.status == _IN_WORK]
    with_steps = set(
        Step.objects.filter(project__key__in=mine, archived_at=None)
        .order_by("project__key")
        .values_list("project__key", flat=True)
        .distinct()
    )
    items = []
    for key in [key for key in mine if key in with_steps][:MOST_PROJECTS]:
        scope = scope_of(person.id, key)
        if scope.trade == "":
            continue
        count = count_open(whole_board(scope), scope.trade).get(scope.trade, 0)
        noun = "step" if count == 1 else "steps"
        items.append(
            WaitingItem(key, f"ready {noun} of your trade", reverse("work:mine", args=[key]), count)
        )
    return items
