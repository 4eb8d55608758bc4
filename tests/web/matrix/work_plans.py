"""Addresses of the floor plans."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.work_plans import make_plan
from tests.web.matrix import OFFICE, Entry, api, page
from zones.work.models import FloorPlan


def plan_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name the plan of floor 2."""
    del user
    found = FloorPlan.objects.filter(project=cast.project, archived_at=None).first()
    found = found or make_plan(cast.project, cast.office)
    return {"project_key": cast.project.key, "plan_id": found.pk}


def archived(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a plan that is archived."""
    del user
    found = make_plan(cast.project, cast.office, "9", archived_at=AT)
    return {"project_key": cast.project.key, "plan_id": found.pk}


SCALE = {
    "version": 1,
    "first_x_px": 0,
    "first_y_px": 0,
    "second_x_px": 50,
    "second_y_px": 0,
    "distance_m": "30 ft",
}
ORIGIN = {"version": 1, "origin_x_px": 0, "origin_y_px": 90}

ENTRIES = [
    Entry("work:plans", page()),
    Entry("work:plan-add", page(to=OFFICE)),
    Entry("work:plan-add", page(422, to=OFFICE), "POST", data={"floor": "3"}),
    Entry("work:plan", page(), arguments=plan_in),
    Entry("work:plan-image", page(), arguments=plan_in),
    Entry("work:plan-file", page(), arguments=plan_in),
    Entry("work:plan-scale", page(302, to=OFFICE), "POST", plan_in, SCALE),
    Entry("work:plan-origin", page(302, to=OFFICE), "POST", plan_in, ORIGIN),
    Entry("work:plan-archive", page(302, to=OFFICE), "POST", plan_in),
    Entry("work:plan-restore", page(302, to=OFFICE), "POST", archived),
    Entry("work-api:plan-list", api()),
    Entry("work-api:plan-list", api(400, to=OFFICE), "POST", data={"floor": "3"}),
    Entry("work-api:plan-detail", api(), arguments=plan_in),
    Entry("work-api:plan-detail", api(to=OFFICE), "PATCH", plan_in, ORIGIN),
    Entry("work-api:plan-archive", api(to=OFFICE), "POST", plan_in),
    Entry("work-api:plan-restore", api(to=OFFICE), "POST", archived),
    Entry("work-api:plan-image", api(), arguments=plan_in),
]
