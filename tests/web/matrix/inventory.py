"""Addresses of the inventory but for schedule imports."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_box_model, make_inlet, make_whole_unit
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.models import (
    AirHandler,
    BoxInlet,
    ControllerModel,
    Outlet,
    TerminalUnit,
    Zone,
)


def whole(cast: Cast) -> TerminalUnit:
    """The one unit that the addresses are about."""
    found = TerminalUnit.objects.filter(project=cast.project).first()
    return found or make_whole_unit(cast.project)


def unit_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a unit."""
    del user
    return {"project_key": cast.project.key, "unit_id": whole(cast).pk}


def tag_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a unit by its tag."""
    del user
    return {"project_key": cast.project.key, "tag": whole(cast).tag}


def outlet_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an outlet."""
    del user
    outlet = Outlet.objects.filter(unit=whole(cast)).first()
    assert outlet is not None
    return {"project_key": cast.project.key, "outlet_id": outlet.pk}


def air_handler_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an air handler."""
    del user
    whole(cast)
    found = AirHandler.objects.get(project=cast.project)
    return {"project_key": cast.project.key, "air_handler_id": found.pk}


def zone_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a zone."""
    del user
    whole(cast)
    found = Zone.objects.get(project=cast.project)
    return {"project_key": cast.project.key, "zone_id": found.pk}


def box_model_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a box model."""
    del user
    inlet = whole(cast).inlet
    assert inlet is not None
    return {"project_key": cast.project.key, "box_model_id": inlet.box_model_id}


def spare_inlet(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an inlet that no unit has."""
    del user
    found = BoxInlet.objects.filter(box_model__name="Spare").first()
    found = found or make_inlet(make_box_model("Spare"))
    return {"project_key": cast.project.key, "inlet_id": found.pk}


def controller_in(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name a controller model."""
    del user
    whole(cast)
    found = ControllerModel.objects.get()
    return {"project_key": cast.project.key, "controller_model_id": found.pk}


def chosen(cast: Cast) -> dict[str, Any]:
    """A bulk act of the page."""
    return {"unit": [whole(cast).pk], "act": "floor", "floor": "4"}


def chosen_ids(cast: Cast) -> dict[str, Any]:
    """A bulk act of the API."""
    return {"ids": [whole(cast).pk], "act": "set", "field": "floor", "text": "4"}


def place(cast: Cast) -> dict[str, Any]:
    """A position from the page of a plan."""
    return {"unit": whole(cast).pk, "x": "10 ft", "y": "5 m"}


def places(cast: Cast) -> dict[str, Any]:
    """A position over the API."""
    return {"places": [{"unit_id": whole(cast).pk, "x_m": 3.5, "y_m": "5 m"}]}


def _pages(name: str, arguments: Any, *, restorable: bool = True) -> list[Entry]:
    entries = [
        Entry(f"inventory:{name}-edit", page(to=OFFICE), arguments=arguments),
        Entry(f"inventory:{name}-edit", page(422, to=OFFICE), "POST", arguments, {"tag": ""}),
        Entry(f"inventory:{name}-archive", page(to=OFFICE), arguments=arguments),
        Entry(f"inventory:{name}-archive", page(302, to=OFFICE), "POST", arguments),
    ]
    if restorable:
        entries += [Entry(f"inventory:{name}-restore", page(302, to=OFFICE), "POST", arguments)]
    return entries


def _api(name: str, arguments: Any, new: Any, *, archive: int = 200) -> list[Entry]:
    return [
        Entry(f"inventory-api:{name}-list", api()),
        Entry(f"inventory-api:{name}-list", api(201, to=OFFICE), "POST", data=new),
        Entry(f"inventory-api:{name}-detail", api(), arguments=arguments),
        Entry(
            f"inventory-api:{name}-detail",
            api(to=OFFICE),
            "PATCH",
            arguments=arguments,
            data={"version": 1},
        ),
        Entry(
            f"inventory-api:{name}-archive",
            api(archive, to=OFFICE),
            "POST",
            arguments=arguments,
        ),
        Entry(f"inventory-api:{name}-restore", api(to=OFFICE), "POST", arguments=arguments),
    ]


def new_outlet(cast: Cast) -> dict[str, Any]:
    """A new outlet over the API."""
    return {"unit_id": whole(cast).pk, "tag": "D-9"}


PLACING = ("controls", "office")
NEW_INLET = {
    "label": "10 in",
    "diameter_m": "10 in",
    "free_area_m2": 0.05,
    "nominal_k_m3_s_sqrt_pa": 0.04,
}

ENTRIES = [
    Entry("inventory:units", page()),
    Entry("inventory:units", page(302, to=OFFICE), "POST", data=chosen),
    Entry("inventory:unit-add", page(to=OFFICE)),
    Entry("inventory:unit-add", page(422, to=OFFICE), "POST"),
    Entry("inventory:unit-by-tag", page(302), arguments=tag_in),
    Entry("inventory:unit", page(), arguments=unit_in),
    Entry("inventory:unit-changes", page(), arguments=unit_in),
    *_pages("unit", unit_in),
    Entry("inventory:positions", page(302, to=PLACING), "POST", data=place),
    Entry("inventory:outlet-add", page(to=OFFICE), arguments=unit_in),
    Entry("inventory:outlet-add", page(422, to=OFFICE), "POST", unit_in, {"tag": ""}),
    *_pages("outlet", outlet_in),
    Entry("inventory:air-handlers", page()),
    Entry("inventory:air-handler-add", page(to=OFFICE)),
    Entry("inventory:air-handler-add", page(302, to=OFFICE), "POST", data={"tag": "AH-7"}),
    Entry("inventory:air-handler", page(), arguments=air_handler_in),
    *_pages("air-handler", air_handler_in),
    Entry("inventory:zones", page()),
    Entry("inventory:zone-add", page(to=OFFICE)),
    Entry("inventory:zone-add", page(302, to=OFFICE), "POST", data={"tag": "777"}),
    Entry("inventory:zone", page(), arguments=zone_in),
    *_pages("zone", zone_in),
    Entry("inventory:library", page()),
    Entry("inventory:library-starter", page(302, to=OFFICE), "POST"),
    Entry("inventory:library-box-model-add", page(to=OFFICE)),
    Entry("inventory:library-box-model", page(), arguments=box_model_in),
    *_pages("library-box-model", box_model_in),
    Entry("inventory:library-inlet-add", page(to=OFFICE), arguments=box_model_in),
    Entry("inventory:library-inlet-edit", page(to=OFFICE), arguments=spare_inlet),
    Entry("inventory:library-inlet-remove", page(to=OFFICE), arguments=spare_inlet),
    Entry("inventory:library-inlet-remove", page(302, to=OFFICE), "POST", spare_inlet),
    Entry("inventory:library-controller-model-add", page(to=OFFICE)),
    Entry("inventory:library-controller-model", page(), arguments=controller_in),
    *_pages("library-controller-model", controller_in),
    *_api("unit", unit_in, {"tag": "TU-77"}),
    Entry("inventory-api:unit-findings", api(), arguments=unit_in),
    Entry("inventory-api:unit-changes", api(), arguments=unit_in),
    Entry("inventory-api:unit-act", api(to=OFFICE), "POST", data=chosen_ids),
    Entry("inventory-api:unit-positions", api(to=PLACING), "PUT", data=places),
    *_api("outlet", outlet_in, new_outlet),
    *_api("air-handler", air_handler_in, {"tag": "AH-8"}, archive=409),
    *_api("zone", zone_in, {"tag": "778"}, archive=409),
    *_api("box-model", box_model_in, {"name": "Another"}),
    Entry("inventory-api:inlet-add", api(201, to=OFFICE), "POST", box_model_in, data=NEW_INLET),
    Entry(
        "inventory-api:inlet-detail",
        api(400, to=OFFICE),  # without a version; the others are refused first
        "PATCH",
        spare_inlet,
        data={"label": "9 in"},
    ),
    Entry("inventory-api:inlet-detail", api(204, to=OFFICE), "DELETE", spare_inlet),
    *_api("controller", controller_in, {"name": "Another"}),
    Entry("inventory-api:library-starter", api(to=OFFICE), "POST"),
]
