"""A project's own page, its settings, and making one."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from projectsite.accounts.access import Action, person_of, require_creator, scope_for
from projectsite.accounts.forms import NewProjectForm, SettingsForm
from projectsite.accounts.operations import projects as operations
from projectsite.accounts.queries import project_record
from projectsite.core import panels
from projectsite.core.errors import ApplicationError, Conflict
from projectsite.core.scope import Scope


@require_GET
def project(request: HttpRequest, project_key: str) -> HttpResponse:
    """Show the facts of a project, with the panels of the other concerns."""
    scope = scope_for(request, project_key, Action.SEE)
    context = {"record": project_record(scope), "panels": panels.links("project", scope)}
    return render(request, "accounts/project.html", context)


@require_http_methods(["GET", "POST"])
def new_project(request: HttpRequest) -> HttpResponse:
    """Make a project; whoever makes it is its office."""
    require_creator(request.user)
    person = person_of(request)
    form = NewProjectForm(request.POST or None, system=person.reading_system or "ip")
    if request.method == "POST" and form.is_valid():
        values: dict[str, Any] = dict(form.cleaned_data)
        values["elevation_m"] = values["elevation_m"].value
        try:
            key = operations.create_project(person, at=timezone.now(), **values)
        except ApplicationError as error:
            form.refuse(error)
        else:
            return redirect("accounts:project", key)
    return render(request, "accounts/new_project.html", {"form": form})


@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest, project_key: str) -> HttpResponse:
    """Change what the office can set of a project."""
    scope = scope_for(request, project_key, Action.EDIT_PROJECT)
    form = SettingsForm.of(project_record(scope), system=scope.system, data=request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            operations.update_project(
                scope, version=form.cleaned_data["version"], settings=form.settings()
            )
        except ApplicationError as error:
            status = _tell(scope, form, error)
        else:
            messages.success(request, "The settings are saved.")
            return redirect("accounts:settings", project_key)
    return render(request, "accounts/settings.html", {"form": form}, status=status)


def _tell(scope: Scope, form: SettingsForm, error: ApplicationError) -> int:
    """Show a refusal; gives the status of the answer."""
    if not isinstance(error, Conflict):
        form.refuse(error)
        return 200
    form.add_error(None, error.message)
    form.show_stored(project_record(scope), list(error.fields))
    return 409
