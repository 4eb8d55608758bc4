"""People of a project and its one-time links."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.accounts.domain.codes import new_link_code
from projectsite.accounts.domain.links import address_of
from projectsite.accounts.forms import InviteForm, RoleForm
from projectsite.accounts.operations import people as operations
from projectsite.accounts.queries import links_of, member_of, members_of
from projectsite.core.errors import ApplicationError


@dataclass(frozen=True, slots=True)
class ShownLink:
    """A one-time link in the one answer that shows it."""

    address: str
    name: str


@require_GET
def people(request: HttpRequest, project_key: str) -> HttpResponse:
    """List the members of the project and its links."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    context = {"members": members_of(scope), "links": links_of(scope, at=timezone.now())}
    return render(request, "accounts/people.html", context)


@never_cache
@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest, project_key: str) -> HttpResponse:
    """Make a one-time link to join the project; it is shown in this one answer only."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    form = InviteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        code, now = new_link_code(), timezone.now()
        try:
            operations.invite(scope, digest=code.digest, at=now, **form.cleaned_data)
        except ApplicationError as error:
            form.refuse(error)
        else:
            shown = ShownLink(address_of(code), form.cleaned_data["invited_name"])
            return render(request, "accounts/link_shown.html", {"shown": shown})
    return render(request, "accounts/invite.html", {"form": form})


@require_http_methods(["GET", "POST"])
def member(request: HttpRequest, project_key: str, user_id: int) -> HttpResponse:
    """Change a member's role and trade."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    current = member_of(scope, user_id=user_id)
    form = RoleForm(request.POST or None, initial={"role": current.role, "trade": current.trade})
    if request.method == "POST" and form.is_valid():
        try:
            operations.change_member(scope, user_id=user_id, **form.cleaned_data)
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, f"{current.full_name} has the new role.")
            is_self = scope.person.id == user_id  # who has just left the office sees no people
            return redirect("accounts:project" if is_self else "accounts:people", project_key)
    return render(request, "accounts/member.html", {"form": form, "member": current})


@require_http_methods(["GET", "POST"])
def remove(request: HttpRequest, project_key: str, user_id: int) -> HttpResponse:
    """Ask once, then take a person out of the project."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    current = member_of(scope, user_id=user_id)
    if request.method == "POST":
        operations.remove_member(scope, user_id=user_id, at=timezone.now())
        messages.success(request, f"{current.full_name} is no longer in this project.")
        is_self = scope.person.id == user_id
        return redirect("home") if is_self else redirect("accounts:people", project_key)
    return render(request, "accounts/remove.html", {"member": current})


@never_cache
@require_POST
def password_link(request: HttpRequest, project_key: str, user_id: int) -> HttpResponse:
    """Make a one-time link for a new password; it is shown in this one answer only."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    current, code = member_of(scope, user_id=user_id), new_link_code()
    operations.issue_password_link(scope, user_id=user_id, digest=code.digest, at=timezone.now())
    shown = ShownLink(address_of(code), current.full_name)
    context = {"shown": shown, "is_for_password": True}
    return render(request, "accounts/link_shown.html", context)


@require_POST
def withdraw(request: HttpRequest, project_key: str, link_id: int) -> HttpResponse:
    """Make a link that was not used yet stop working."""
    scope = scope_for(request, project_key, Action.MANAGE_PEOPLE)
    operations.withdraw_link(scope, link_id=link_id, at=timezone.now())
    messages.success(request, "The link is withdrawn and does not work any more.")
    return redirect("accounts:people", project_key)
