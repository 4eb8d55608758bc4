"""What the database refuses of people, projects and invitations, tried with plain SQL."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.utils import IntegrityError
from psycopg import errors

from tests.builders import Cast, make_token

SECOND_NAME = """
    insert into accounts_user
        (username, full_name, password, reading_system, may_create_projects, is_active, created_at)
    values ('OFFICE', 'Someone Else', 'x', '', false, true, now())
"""
SECOND_MEMBERSHIP = """
    insert into accounts_membership (user_id, project_id, role, trade, created_at)
    select user_id, project_id, 'owner', '', now() from accounts_membership where role = 'office'
"""
LINK = """
    insert into accounts_invitation (project_id, role, trade, invited_name, digest, password_of_id,
        created_at, expires_at, used_at, withdrawn_at)
    select {project}, {role}, {trade}, {name}, 'd', {password_of}, now(), {expires},
        {used}, {withdrawn}
    from accounts_membership m where m.role = 'owner'
"""


def link(**changes: str) -> str:
    """Statement that stores a one-time link; valid unless something is changed."""
    values = {
        "project": "m.project_id", "role": "'owner'", "trade": "''", "name": "'someone'",
        "password_of": "null", "expires": "now() + interval '7 days'", "used": "null",
        "withdrawn": "null",
    }  # fmt: skip
    return LINK.format(**(values | changes))


BROKEN = [
    ("a second sign-in name in other letters", SECOND_NAME, "user_username_unique"),
    ("a link that ends before it begins",
     link(expires="now()"), "invitation_expires_later"),
    ("a link to a project without a role", link(role="''"), "invitation_purpose_clear"),
    ("a link with a role but no project", link(project="null"), "invitation_purpose_clear"),
    ("a password link that gives a role",
     link(password_of="m.user_id"), "invitation_purpose_clear"),
    ("a password link of no project",
     link(project="null", role="''", password_of="m.user_id"), "invitation_purpose_clear"),
    ("a link for an installer without a trade",
     link(role="'installer'"), "invitation_trade_of_installer"),
    ("a link for an owner with a trade",
     link(trade="'mechanical'"), "invitation_trade_of_installer"),
    ("a link both used and withdrawn",
     link(used="now()", withdrawn="now()"), "invitation_used_or_withdrawn"),
    ("a link for nobody", link(name="''"), "invitation_name_given"),
    ("reading units that do not exist",
     "update accounts_user set reading_system = 'xx'", "user_reading_system_known"),
    ("a person without a name", "update accounts_user set full_name = ''", "user_full_name_given"),
    ("project units that do not exist",
     "update accounts_project set display_system = 'xx'", "project_display_system_known"),
    ("a status that does not exist",
     "update accounts_project set status = 'lost'", "project_status_known"),
    ("a project without a name", "update accounts_project set name = ''", "project_name_given"),
    ("a site below every mine",
     "update accounts_project set elevation_m = -501", "project_elevation_range"),
    ("a site above every town",
     "update accounts_project set elevation_m = 6001", "project_elevation_range"),
    ("a tolerance below zero",
     "update accounts_project set unit_under_fraction = -0.01", "project_tolerances_range"),
    ("a tolerance above the design",
     "update accounts_project set outlet_over_fraction = 1.01", "project_tolerances_range"),
    ("no agreement at all",
     "update accounts_project set agreement_fraction = 0", "project_tolerances_range"),
    ("a floor below zero",
     "update accounts_project set tolerance_floor_m3_s = -1", "project_tolerances_range"),
    ("a readable pressure of zero",
     "update accounts_project set readable_pressure_pa = 0", "project_limits_positive"),
    ("a second membership of one person", SECOND_MEMBERSHIP, "membership_user_project_unique"),
    ("a role that does not exist",
     "update accounts_membership set role = 'king'", "membership_role_known"),
    ("an installer without a trade",
     "update accounts_membership set trade = '' where role = 'installer'",
     "membership_trade_of_installer"),
    ("an owner with a trade",
     "update accounts_membership set trade = 'mechanical' where role = 'owner'",
     "membership_trade_of_installer"),
    ("a token for nothing", "update accounts_apitoken set label = ''", "apitoken_label_given"),
]  # fmt: skip


@pytest.mark.parametrize(("case", "sql", "constraint"), BROKEN, ids=[row[0] for row in BROKEN])
def test_refused_by_the_database(cast: Cast, case: str, sql: str, constraint: str) -> None:
    make_token(cast.office)
    with pytest.raises(IntegrityError) as refused, connection.cursor() as cursor:
        cursor.execute(sql)
    cause = refused.value.__cause__
    assert isinstance(cause, errors.IntegrityError)
    assert cause.diag.constraint_name == constraint


def test_the_unchanged_link_is_taken(cast: Cast) -> None:
    with connection.cursor() as cursor:
        cursor.execute(link())
        assert cursor.rowcount == 1
