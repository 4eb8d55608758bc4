"""A project whose work can begin: usual steps and checkout lists, two units on a floor."""

from __future__ import annotations

from tests.builders.accounts import Cast
from tests.builders.inventory import make_air_handler, make_controller_model, make_unit
from zones.inventory.models import TerminalUnit
from zones.work.operations import catalogue, checkout_lists


def make_work_site(cast: Cast) -> list[TerminalUnit]:
    """Give the project of the cast the usual steps and lists and two addressed units."""
    office = cast.scope("office")
    catalogue.load_starter_catalogue(office)
    checkout_lists.load_starter(office)
    handler, model = make_air_handler(cast.project), make_controller_model()
    return [
        make_unit(
            cast.project,
            f"TU-2-{number}",
            floor="2",
            location="Reading room",
            air_handler=handler,
            controller_model=model,
            mac_address=number,
            device_instance=2001000 + number,
        )
        for number in (1, 2)
    ]
