"""People of a project: roles, removal, links, and what happens when two act at once."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection

from projectsite.accounts.access import scope_of
from projectsite.accounts.domain.codes import new_link_code
from projectsite.accounts.models import Invitation, Membership, User
from projectsite.accounts.operations import joining, people
from projectsite.accounts.operations.joining import (
    choose_password,
    issue_first_link,
    join_as,
    join_as_new_person,
)
from projectsite.accounts.queries import links_of, members_of, open_link
from projectsite.core.errors import Conflict, Forbidden, InvalidInput, NotFound
from projectsite.core.scope import Scope
from tests.builders import PASSWORD, Cast, make_cast, make_membership, make_project, make_user
from tests.builders.accounts import AT

LATER = AT + timedelta(hours=1)


def invited(scope: Scope, role: str = "balancer") -> str:
    code = new_link_code()
    people.invite(scope, invited_name="Bea", role=role, trade="", digest=code.digest, at=AT)
    return code.plain


def password_link(scope: Scope, user: User) -> str:
    code = new_link_code()
    people.issue_password_link(scope, user_id=user.pk, digest=code.digest, at=AT)
    return code.plain


def join(code: str, username: str = "bea") -> joining.Joined:
    return join_as_new_person(
        code=code, username=username, full_name="Bea Lancer", password=PASSWORD, at=LATER
    )


def test_a_new_person_joins_with_the_role_of_the_link(cast: Cast) -> None:
    joined = join(invited(cast.scope()))
    assert joined.project_key == cast.project.key
    assert Membership.objects.get(user_id=joined.user_id).role == "balancer"
    assert not User.objects.get(pk=joined.user_id).may_create_projects


def test_only_the_digest_of_a_link_is_kept(cast: Cast) -> None:
    code = invited(cast.scope())
    with connection.cursor() as cursor:
        cursor.execute("select i::text from accounts_invitation i")
        stored = cursor.fetchone()[0]
    assert code not in stored
    assert len(Invitation.objects.get().digest) == 64


def test_a_link_works_once(cast: Cast) -> None:
    code = invited(cast.scope())
    join(code)
    with pytest.raises(NotFound):
        join(code, "bob")


def test_a_link_ends_after_seven_days(cast: Cast) -> None:
    code = invited(cast.scope())
    assert open_link(code, at=AT + timedelta(days=7, seconds=-1)).invited_name == "Bea"
    with pytest.raises(NotFound):
        open_link(code, at=AT + timedelta(days=7))


def test_a_withdrawn_link_does_not_work(cast: Cast) -> None:
    code = invited(cast.scope())
    people.withdraw_link(cast.scope(), link_id=Invitation.objects.get().pk, at=AT)
    with pytest.raises(NotFound):
        join(code)


def test_a_used_link_cannot_be_withdrawn(cast: Cast) -> None:
    join(invited(cast.scope()))
    with pytest.raises(Conflict):
        people.withdraw_link(cast.scope(), link_id=Invitation.objects.get().pk, at=LATER)


def test_a_link_of_another_project_cannot_be_withdrawn(cast: Cast) -> None:
    invited(cast.scope())
    with pytest.raises(NotFound):
        people.withdraw_link(cast.stranger_scope(), link_id=Invitation.objects.get().pk, at=AT)


def test_the_list_tells_who_used_a_link_and_when(cast: Cast) -> None:
    join(invited(cast.scope()))
    (row,) = links_of(cast.scope(), at=LATER)
    assert (row.state, row.used_by, row.used_at) == ("used", "Bea Lancer", LATER)


def test_a_weak_password_leaves_the_link_usable(cast: Cast) -> None:
    code = invited(cast.scope())
    with pytest.raises(InvalidInput) as refused:
        join_as_new_person(code=code, username="bea", full_name="Bea", password="short", at=LATER)
    assert set(refused.value.fields) == {"password"}
    assert join(code).project_key == cast.project.key


def test_a_taken_name_in_other_letters_is_refused(cast: Cast) -> None:
    with pytest.raises(InvalidInput) as refused:
        join(invited(cast.scope()), "OFFICE")
    assert "taken" in refused.value.message + str(refused.value.fields)


def test_a_member_cannot_use_a_link_to_change_the_own_role(cast: Cast) -> None:
    code = invited(cast.scope(), "office")
    with pytest.raises(Conflict):
        join_as(cast.scope("owner").person, code=code, at=LATER)
    assert cast.scope("owner").role == "owner"
    assert open_link(code, at=LATER).role == "office"


def test_someone_with_a_name_joins_as_that(cast: Cast) -> None:
    join_as(cast.stranger_scope().person, code=invited(cast.scope()), at=LATER)
    assert scope_of(cast.stranger.pk, cast.project.key).role == "balancer"


def test_an_installer_needs_a_trade(cast: Cast) -> None:
    with pytest.raises(InvalidInput) as refused:
        people.change_member(cast.scope(), user_id=cast.owner.pk, role="installer", trade="")
    assert set(refused.value.fields) == {"trade"}


def test_a_role_is_changed(cast: Cast) -> None:
    people.change_member(cast.scope(), user_id=cast.owner.pk, role="installer", trade="electrical")
    assert cast.scope("owner").role == "installer"


@pytest.mark.parametrize("role", ["controls", "balancer", "installer", "owner"])
def test_only_the_office_manages_people(cast: Cast, role: str) -> None:
    scope = cast.scope(role)
    for attempt in (
        lambda: members_of(scope),
        lambda: links_of(scope, at=AT),
        lambda: invited(scope),
        lambda: people.change_member(scope, user_id=cast.owner.pk, role="office", trade=""),
        lambda: people.remove_member(scope, user_id=cast.owner.pk, at=AT),
        lambda: password_link(scope, cast.owner),
    ):
        with pytest.raises(Forbidden):
            attempt()


def test_the_last_office_person_stays(cast: Cast) -> None:
    with pytest.raises(Conflict):
        people.remove_member(cast.scope(), user_id=cast.office.pk, at=AT)
    with pytest.raises(Conflict):
        people.change_member(cast.scope(), user_id=cast.office.pk, role="owner", trade="")


def test_an_office_that_cannot_sign_in_does_not_count(cast: Cast) -> None:
    make_membership(make_user("gone", is_active=False), cast.project, "office")
    with pytest.raises(Conflict):
        people.remove_member(cast.scope(), user_id=cast.office.pk, at=AT)


def test_a_removed_person_leaves_a_trace(cast: Cast) -> None:
    people.remove_member(cast.scope(), user_id=cast.owner.pk, at=AT)
    with pytest.raises(NotFound):
        cast.scope("owner")
    with connection.cursor() as cursor:
        cursor.execute(
            "select role from accounts_membershipevent where pgh_label = 'delete' and user_id = %s",
            [cast.owner.pk],
        )
        assert cursor.fetchall() == [("owner",)]


def test_a_password_link_gives_a_new_password(cast: Cast) -> None:
    choose_password(
        code=password_link(cast.scope(), cast.owner), password="chalk-and-twine", at=LATER
    )
    cast.owner.refresh_from_db()
    assert cast.owner.check_password("chalk-and-twine")


def test_a_second_password_link_ends_the_first(cast: Cast) -> None:
    first = password_link(cast.scope(), cast.owner)
    password_link(cast.scope(), cast.owner)
    with pytest.raises(NotFound):
        open_link(first, at=LATER)


def test_no_password_link_reaches_beyond_the_own_projects(cast: Cast) -> None:
    make_membership(cast.owner, cast.other_project, "owner")
    with pytest.raises(Forbidden):
        password_link(cast.scope(), cast.owner)


def test_a_password_link_is_fine_where_both_projects_have_that_office(cast: Cast) -> None:
    shared = make_project("cedar")
    make_membership(cast.office, shared, "office")
    make_membership(cast.owner, shared, "owner")
    assert password_link(cast.scope(), cast.owner)


def test_no_password_link_for_someone_who_makes_projects(cast: Cast) -> None:
    User.objects.filter(pk=cast.owner.pk).update(may_create_projects=True)
    with pytest.raises(Forbidden):
        password_link(cast.scope(), cast.owner)


def test_no_password_link_for_oneself(cast: Cast) -> None:
    with pytest.raises(Forbidden):
        password_link(cast.scope(), cast.office)


def test_a_password_link_ends_when_the_person_joins_another_project(cast: Cast) -> None:
    code = password_link(cast.scope(), cast.owner)
    make_membership(cast.owner, cast.other_project, "owner")
    with pytest.raises(NotFound):
        choose_password(code=code, password="chalk-and-twine", at=LATER)


def test_a_password_link_ends_when_its_issuer_leaves_the_office(cast: Cast) -> None:
    code = password_link(cast.scope(), cast.owner)
    Membership.objects.filter(user=cast.office).update(role="controls")
    with pytest.raises(NotFound):
        choose_password(code=code, password="chalk-and-twine", at=LATER)


def test_a_password_link_makes_no_new_person(cast: Cast) -> None:
    with pytest.raises(InvalidInput):
        join(password_link(cast.scope(), cast.owner))


def test_an_invitation_changes_no_password(cast: Cast) -> None:
    with pytest.raises(InvalidInput):
        choose_password(code=invited(cast.scope()), password="chalk-and-twine", at=LATER)


def test_the_first_link_makes_the_first_person(db: None) -> None:
    code = new_link_code()
    issue_first_link(digest=code.digest, at=AT)
    person = User.objects.get(pk=join(code.plain).user_id)
    assert person.may_create_projects
    with pytest.raises(Conflict):
        issue_first_link(digest=new_link_code().digest, at=LATER)


def test_a_new_first_link_ends_the_one_before(db: None) -> None:
    first, second = new_link_code(), new_link_code()
    issue_first_link(digest=first.digest, at=AT)
    issue_first_link(digest=second.digest, at=AT)
    with pytest.raises(NotFound):
        join(first.plain)
    assert join(second.plain).project_key == ""


def test_the_first_link_is_dead_once_there_are_people(db: None) -> None:
    code = new_link_code()
    issue_first_link(digest=code.digest, at=AT)
    make_user("someone")
    with pytest.raises(NotFound):
        join(code.plain)


# -- at the same moment -----------------------------------------------------------------------


def both(*acts: Callable[[], object]) -> list[str]:
    """Run acts at the same moment, each on its own connection; gives how each ended."""
    gate, ends = threading.Barrier(len(acts)), [""] * len(acts)

    def run(place: int, act: Callable[[], object]) -> None:
        try:
            gate.wait(timeout=10)
            act()
            ends[place] = "done"
        except (Conflict, NotFound, Forbidden) as refusal:
            ends[place] = type(refusal).__name__
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(i, act)) for i, act in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return sorted(ends)


@pytest.mark.django_db(transaction=True)
def test_two_people_with_one_link_and_one_joins() -> None:
    code = invited(make_cast().scope())
    ends = both(lambda: join(code, "bea"), lambda: join(code, "bob"))
    assert ends == ["NotFound", "done"]
    assert User.objects.filter(username__in=["bea", "bob"]).count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_office_people_remove_each_other_and_one_stays() -> None:
    cast = make_cast()
    second = make_user("second")
    make_membership(second, cast.project, "office")
    mine, theirs = cast.scope(), scope_of(second.pk, cast.project.key)
    ends = both(
        lambda: people.remove_member(mine, user_id=second.pk, at=AT),
        lambda: people.remove_member(theirs, user_id=cast.office.pk, at=AT),
    )
    assert ends == ["Conflict", "done"]
    assert Membership.objects.filter(project=cast.project, role="office").count() == 1
