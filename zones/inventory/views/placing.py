"""Saying where units are, from the page of a floor plan."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from projectsite.accounts.access import Action, scope_for
from zones.inventory.forms.placing import PlaceForm
from zones.inventory.operations.placing import place_units
from zones.inventory.views.pages import act_and_return


@require_POST
def positions(request: HttpRequest, project_key: str) -> HttpResponse:
    """Place a unit, or take it off its floor, and go back to where one came from."""
    scope = scope_for(request, project_key, Action.PLACE_UNITS)
    form = PlaceForm(request.POST, system=scope.system)
    to = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(to, allowed_hosts=None):
        to = reverse("inventory:units", args=[project_key])
    if not form.is_valid():
        messages.error(request, form.told())
        return redirect(to)
    unit_id, version = form.cleaned_data["unit"], form.cleaned_data["version"]
    versions = {} if version is None else {unit_id: version}
    return act_and_return(
        request,
        lambda: place_units(scope, places={unit_id: form.place()}, versions=versions),
        done="The position is saved." if form.place() else "The unit is off the floor plan.",
        to=to,
    )
