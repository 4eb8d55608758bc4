"""Pages of the library that projects share."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import Action, scope_for
from projectsite.core.scope import Scope
from zones.inventory import operations, queries
from zones.inventory.domain.fields import BOX_MODEL_FIELDS, CONTROLLER_FIELDS, INLET_FIELDS
from zones.inventory.domain.types import BoxModelFacts
from zones.inventory.filters import ARCHIVED, read
from zones.inventory.forms import RecordForm
from zones.inventory.tables import box_model_table, controller_table, inlet_table
from zones.inventory.views.pages import act_and_return, confirm_page, form_page


@require_GET
def library(request: HttpRequest, project_key: str) -> HttpResponse:
    """Box models and controller models."""
    scope = scope_for(request, project_key, Action.SEE)
    archived = read(request.GET, ARCHIVED).is_on("archived")
    models = queries.box_models(scope, archived=archived)
    controllers = queries.controller_models(scope, archived=archived)
    context = {
        "title": "Library",
        "subtitle": "Shared by all projects of this site. A change never rewrites a test.",
        "box_models": box_model_table(scope, models),
        "controllers": controller_table(scope, controllers),
        "is_empty": not models and not controllers and not archived,
        "archived": archived,
        "may_edit": scope.allows(Action.EDIT_LIBRARY),
    }
    return render(request, "inventory/library.html", context)


@require_POST
def starter(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add the generic starter library."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    return act_and_return(
        request,
        lambda: operations.load_starter_library(scope),
        done="The generic starter library is there. Replace its figures by those delivered.",
        to=reverse("inventory:library", args=[project_key]),
    )


@require_GET
def box_model_page(request: HttpRequest, project_key: str, box_model_id: int) -> HttpResponse:
    """One box model with its inlets and who uses them."""
    scope = scope_for(request, project_key, Action.SEE)
    model = queries.box_model(scope, box_model_id)
    use = queries.inlet_use(scope, box_model_id)
    units_at = reverse("inventory:units", args=[project_key])
    context = {
        "title": model.name,
        "subtitle": model.note,
        "model": model,
        "table": inlet_table(scope, model.inlets, use, units_at=units_at),
        "may_edit": scope.allows(Action.EDIT_LIBRARY),
        "trail": [("Library", reverse("inventory:library", args=[project_key]))],
    }
    return render(request, "inventory/box_model.html", context)


@require_http_methods(["GET", "POST"])
def box_model_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add a box model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    form = RecordForm(request.POST or None, fields=BOX_MODEL_FIELDS, system=scope.system)

    def act(values: dict[str, Any], _version: int) -> str:
        found = operations.add_box_model(scope, values=values)
        return reverse("inventory:library-box-model", args=[project_key, found])

    back = reverse("inventory:library", args=[project_key])
    done = "The box model is added. Give it its inlets."
    return form_page(request, form, act, done=done, title="New box model", cancel=back)


@require_http_methods(["GET", "POST"])
def box_model_edit(request: HttpRequest, project_key: str, box_model_id: int) -> HttpResponse:
    """Change a box model's name or note."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.box_model(scope, box_model_id)
    record = {"name": model.name, "note": model.note, "version": model.version}
    form = RecordForm(
        request.POST or None, fields=BOX_MODEL_FIELDS, system=scope.system, record=record
    )
    here = reverse("inventory:library-box-model", args=[project_key, box_model_id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_box_model(
            scope, box_model_id=box_model_id, version=version, values=values
        )
        return here

    title = f"Change {model.name}"
    return form_page(request, form, act, done="Changed.", title=title, cancel=here)


@require_http_methods(["GET", "POST"])
def box_model_archive(request: HttpRequest, project_key: str, box_model_id: int) -> HttpResponse:
    """No longer offer a box model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.box_model(scope, box_model_id)
    return confirm_page(
        request,
        lambda: operations.archive_box_model(scope, box_model_id=box_model_id, at=timezone.now()),
        done=f"{model.name} is archived.",
        to=reverse("inventory:library-box-model", args=[project_key, box_model_id]),
        title=f"Archive {model.name}",
        what="It is no longer offered in any project; units that have it keep it.",
        submit="Archive",
        undo="It can be restored from its page.",
    )


@require_POST
def box_model_restore(request: HttpRequest, project_key: str, box_model_id: int) -> HttpResponse:
    """Offer an archived box model again."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    return act_and_return(
        request,
        lambda: operations.restore_box_model(scope, box_model_id=box_model_id),
        done="The box model is offered again.",
        to=reverse("inventory:library-box-model", args=[project_key, box_model_id]),
    )


@require_http_methods(["GET", "POST"])
def inlet_add(request: HttpRequest, project_key: str, box_model_id: int) -> HttpResponse:
    """Add an inlet size to a box model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.box_model(scope, box_model_id)
    form = RecordForm(request.POST or None, fields=INLET_FIELDS, system=scope.system)
    back = reverse("inventory:library-box-model", args=[project_key, box_model_id])

    def act(values: dict[str, Any], _version: int) -> str:
        operations.add_inlet(scope, box_model_id=box_model_id, values=values)
        return back

    done, title = "The inlet is added.", f"New inlet of {model.name}"
    return form_page(request, form, act, done=done, title=title, cancel=back)


def _inlet_form(
    request: HttpRequest, scope: Scope, model: BoxModelFacts, inlet_id: int
) -> RecordForm:
    inlet = next(inlet for inlet in model.inlets if inlet.id == inlet_id)
    record = {field.name: getattr(inlet, field.name) for field in INLET_FIELDS}
    record["version"] = model.version
    return RecordForm(request.POST or None, fields=INLET_FIELDS, system=scope.system, record=record)


@require_http_methods(["GET", "POST"])
def inlet_edit(request: HttpRequest, project_key: str, inlet_id: int) -> HttpResponse:
    """Change an inlet size."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.box_model_of_inlet(scope, inlet_id)
    back = reverse("inventory:library-box-model", args=[project_key, model.id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_inlet(scope, inlet_id=inlet_id, version=version, values=values)
        return back

    return form_page(
        request,
        _inlet_form(request, scope, model, inlet_id),
        act,
        done="The inlet is changed. Tests keep what they used.",
        title=f"Change inlet of {model.name}",
        cancel=back,
        archive=reverse("inventory:library-inlet-remove", args=[project_key, inlet_id]),
        archive_word="Remove",
    )


@require_http_methods(["GET", "POST"])
def inlet_remove(request: HttpRequest, project_key: str, inlet_id: int) -> HttpResponse:
    """Remove an inlet that no unit has."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.box_model_of_inlet(scope, inlet_id)
    return confirm_page(
        request,
        lambda: operations.remove_inlet(scope, inlet_id=inlet_id),
        done="The inlet is removed.",
        to=reverse("inventory:library-box-model", args=[project_key, model.id]),
        title=f"Remove an inlet of {model.name}",
        what="The inlet is removed from the library. This is refused while a unit has it.",
        submit="Remove",
        undo="Its figures stay in the change log and can be entered again.",
    )


@require_GET
def controller_page(
    request: HttpRequest, project_key: str, controller_model_id: int
) -> HttpResponse:
    """One controller model and who uses it."""
    scope = scope_for(request, project_key, Action.SEE)
    model = queries.controller_model(scope, controller_model_id)
    units_at = reverse("inventory:units", args=[project_key])
    context = {
        "title": model.name,
        "subtitle": model.note,
        "model": model,
        "table": controller_table(scope, [model]),
        "units_link": f"{units_at}?controller_model={model.id}",
        "may_edit": scope.allows(Action.EDIT_LIBRARY),
        "trail": [("Library", reverse("inventory:library", args=[project_key]))],
    }
    return render(request, "inventory/controller_model.html", context)


@require_http_methods(["GET", "POST"])
def controller_add(request: HttpRequest, project_key: str) -> HttpResponse:
    """Add a controller model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    form = RecordForm(request.POST or None, fields=CONTROLLER_FIELDS, system=scope.system)

    def act(values: dict[str, Any], _version: int) -> str:
        found = operations.add_controller_model(scope, values=values)
        return reverse("inventory:library-controller-model", args=[project_key, found])

    back = reverse("inventory:library", args=[project_key])
    done = "The controller model is added."
    return form_page(request, form, act, done=done, title="New controller model", cancel=back)


@require_http_methods(["GET", "POST"])
def controller_edit(
    request: HttpRequest, project_key: str, controller_model_id: int
) -> HttpResponse:
    """Change a controller model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.controller_model(scope, controller_model_id)
    record = {
        f.name: model.note if f.name == "note" else getattr(model.limits, f.name)
        for f in CONTROLLER_FIELDS
    }
    record["version"] = model.version
    form = RecordForm(
        request.POST or None, fields=CONTROLLER_FIELDS, system=scope.system, record=record
    )
    here = reverse("inventory:library-controller-model", args=[project_key, controller_model_id])

    def act(values: dict[str, Any], version: int) -> str:
        operations.change_controller_model(
            scope, controller_model_id=controller_model_id, version=version, values=values
        )
        return here

    title = f"Change {model.name}"
    return form_page(request, form, act, done="Changed.", title=title, cancel=here)


@require_http_methods(["GET", "POST"])
def controller_archive(
    request: HttpRequest, project_key: str, controller_model_id: int
) -> HttpResponse:
    """No longer offer a controller model."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    model = queries.controller_model(scope, controller_model_id)
    return confirm_page(
        request,
        lambda: operations.archive_controller_model(
            scope, controller_model_id=controller_model_id, at=timezone.now()
        ),
        done=f"{model.name} is archived.",
        to=reverse("inventory:library-controller-model", args=[project_key, controller_model_id]),
        title=f"Archive {model.name}",
        what="It is no longer offered in any project; units that have it keep it.",
        submit="Archive",
        undo="It can be restored from its page.",
    )


@require_POST
def controller_restore(
    request: HttpRequest, project_key: str, controller_model_id: int
) -> HttpResponse:
    """Offer an archived controller model again."""
    scope = scope_for(request, project_key, Action.EDIT_LIBRARY)
    return act_and_return(
        request,
        lambda: operations.restore_controller_model(scope, controller_model_id=controller_model_id),
        done="The controller model is offered again.",
        to=reverse("inventory:library-controller-model", args=[project_key, controller_model_id]),
    )
