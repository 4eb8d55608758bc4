"""Load the sample project, whole or not at all."""

from __future__ import annotations

from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Any

import pghistory
from django.db import transaction

from projectsite.accounts.access import scope_of
from projectsite.core.scope import Scope
from projectsite.sample import people, readings, schedules, work
from reports import operations as documents
from reports.queries import Subject
from zones.inventory.queries import unit_id_of

LIBRARY, ANNEXE = "quillhaven-library", "quillhaven-annexe"
ISSUED = ("VAV-1-01", "VAV-1-03")
ADDENDUM_DAYS = 3
DAYS_OF_TESTS = 18


@transaction.atomic
def load(fixtures: Path, *, address: str, at: datetime) -> list[people.SignIn]:
    """Load the sample into an empty site.

    Parameters
    ----------
    fixtures
        Folder of the received files.
    address
        Address of the site, for the codes on documents.
    at
        Now; the story ends today and began three weeks ago.

    Returns
    -------
    list of SignIn
        How each person signs in, the office first.
    """
    first = people.first_person(at=schedules.days_before(at, work.BEGAN_DAYS + 6))
    began = schedules.days_before(at, work.BEGAN_DAYS + 4)
    office = people.new_project(
        first.person,
        key=LIBRARY,
        name="Quillhaven Public Library",
        number="Q-118",
        address="4 Market Hill, Quillhaven",
        system="ip",
        time_zone="America/Denver",
        elevation_m=396.24,
        at=began,
    )
    others = people.invite_the_others(office, at=began)
    balancer = scope_of(next(o for o in others if o.role == "balancer").person.id, LIBRARY)
    folder = fixtures / "schedules"
    with by(office):
        schedules.add_library(office, fixtures)
        hoods = schedules.add_instruments(office, fixtures, today=at.date())
        schedules.import_file(
            office,
            folder / "terminal-units-ip.xlsx",
            target="units",
            label="Issued for construction",
            at=began,
        )
        schedules.import_file(
            office, folder / "outlets-ip.csv", target="outlets", label="Outlet schedule", at=began
        )
        schedules.choose_controllers(office)
    scopes = [scope_of(other.person.id, LIBRARY) for other in others]
    by_trade = {scope.trade: scope for scope in scopes if scope.trade}
    with by(office):
        work.plan_periods(office, at=at)
        work.add_plans(office, fixtures, at=at)
        work.do_the_work(office, by_trade, tested=list(readings.STORIES), at=at)
        work.check_out(office, by_trade["controls"], tags=list(readings.STORIES), at=at)
        work.open_items([office, *scopes], at=at)
    with by(balancer):
        readings.enter_tests(
            office,
            balancer,
            hoods,
            moments=[
                schedules.days_before(at, DAYS_OF_TESTS - place)
                for place in range(len(readings.STORIES))
            ],
        )
    with by(office):
        schedules.import_file(
            office,
            folder / "addendum-1.xlsx",
            target="units",
            label="Addendum 1",
            at=schedules.days_before(at, ADDENDUM_DAYS),
        )
        _issue_sheets(office, address=address, at=at)
    annexe = people.new_project(
        first.person,
        key=ANNEXE,
        name="Quillhaven School Annexe",
        number="Q-121",
        address="9 Weir Lane, Quillhaven",
        system="si",
        time_zone="America/Denver",
        elevation_m=396.24,
        at=at,
    )
    people.invite_again(annexe, others, at=at)
    with by(annexe):
        schedules.add_instruments(annexe, fixtures, today=at.date())
    return [first, *others]


def by(scope: Scope) -> AbstractContextManager[Any]:
    """Let the change log say who did it."""
    context: AbstractContextManager[Any] = pghistory.context(user=scope.person.id, source="sample")
    return context


def _issue_sheets(office: Scope, *, address: str, at: datetime) -> None:
    """Issue the sheets of two units, so that the owner finds something to download."""
    for tag in ISSUED:
        document_id = documents.draft_document(
            office,
            kind="unit-balance",
            subject=Subject(unit_id=unit_id_of(office, tag)),
            address=address,
            at=at,
        )
        documents.issue_document(
            office,
            document_id=document_id,
            address=address,
            at=at,
            note="Issued for information while the rest of the air handler is tested.",
        )
