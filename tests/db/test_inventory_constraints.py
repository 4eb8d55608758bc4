"""What the database refuses of the inventory, tried with plain SQL."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.utils import IntegrityError

from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_whole_unit, make_zone
from zones.inventory import models

UNIT = "update inventory_terminalunit set"
OUTLET = "update inventory_outlet set"
INLET = "update inventory_boxinlet set"
CONTROLLER = "update inventory_controllermodel set"
AIR_HANDLER = "update inventory_airhandler set"
ZONE = "update inventory_zone set"

TABLES = {
    "inventory_terminalunit": models.TerminalUnit,
    "inventory_outlet": models.Outlet,
    "inventory_airhandler": models.AirHandler,
    "inventory_zone": models.Zone,
    "inventory_boxmodel": models.BoxModel,
    "inventory_boxinlet": models.BoxInlet,
    "inventory_controllermodel": models.ControllerModel,
}


def copy_of(table: str, **changes: str) -> str:
    """Statement that stores a second row like the first, with these values changed."""
    names = [
        column.attname for column in TABLES[table]._meta.concrete_fields if column.attname != "id"
    ]
    values = [changes.get(name, name) for name in names]
    return (
        f"insert into {table} ({', '.join(names)}) "
        f"select {', '.join(values)} from {table} order by id limit 1"
    )


BROKEN = [
    (copy_of("inventory_terminalunit", tag="lower(tag)"), "terminalunit_tag_unique"),
    (f"{UNIT} tag = ''", "terminalunit_tag_given"),
    (f"{UNIT} fan = 'axial'", "terminalunit_fan_known"),
    (f"{UNIT} heat = 'steam'", "terminalunit_heat_known"),
    (f"{UNIT} standby_min_m3_s = -0.1", "terminalunit_flows_not_negative"),
    (f"{UNIT} cooling_min_m3_s = cooling_max_m3_s + 0.1", "terminalunit_cooling_ordered"),
    (f"{UNIT} heating_min_m3_s = heating_max_m3_s + 0.1", "terminalunit_heating_ordered"),
    (f"{UNIT} heater_phases = 2", "terminalunit_heat_values"),
    (f"{UNIT} mac_address = 128", "terminalunit_address_range"),
    (copy_of("inventory_outlet", tag="lower(tag)"), "outlet_tag_unique"),
    (f"{OUTLET} tag = '' where tag = 'D-1'", "outlet_tag_given"),
    (f"{OUTLET} kind = 'ring'", "outlet_kind_known"),
    (f"{OUTLET} hood_factor = 2.1", "outlet_values"),
    (f"{OUTLET} design_m3_s = -1", "outlet_values"),
    (copy_of("inventory_airhandler", tag="lower(tag)"), "airhandler_tag_unique"),
    (f"{AIR_HANDLER} tag = ''", "airhandler_tag_given"),
    (f"{AIR_HANDLER} design_m3_s = 0", "airhandler_positive"),
    (copy_of("inventory_zone", tag="lower(tag)"), "zone_tag_unique"),
    (f"{ZONE} tag = ''", "zone_tag_given"),
    (f"{ZONE} area_m2 = 0", "zone_positive"),
    (copy_of("inventory_boxmodel", name="upper(name)"), "boxmodel_name_unique"),
    ("update inventory_boxmodel set name = ''", "boxmodel_name_given"),
    (copy_of("inventory_boxinlet", label="upper(label)"), "boxinlet_label_unique"),
    (f"{INLET} free_area_m2 = 0", "boxinlet_positive"),
    (f"{INLET} scheduled_low_m3_s = scheduled_high_m3_s + 1", "boxinlet_range_ordered"),
    (copy_of("inventory_controllermodel", name="upper(name)"), "controllermodel_name_unique"),
    (f"{CONTROLLER} name = ''", "controllermodel_name_given"),
    (f"{CONTROLLER} readable_pressure_pa = 0", "controllermodel_positive"),
]


@pytest.mark.parametrize(("statement", "constraint"), BROKEN, ids=[name for _, name in BROKEN])
def test_the_database_refuses(cast: Cast, statement: str, constraint: str) -> None:
    make_whole_unit(cast.project)
    with pytest.raises(IntegrityError, match=constraint), connection.cursor() as cursor:
        cursor.execute(statement)


def test_a_unit_cannot_hang_on_another_projects_air_handler(cast: Cast) -> None:
    make_whole_unit(cast.project)
    foreign = make_air_handler(cast.other_project, "AH-9")
    with pytest.raises(IntegrityError, match="terminalunit_air_handler_same_project"):
        now(f"{UNIT} air_handler_id = {foreign.pk}")


def test_a_unit_cannot_serve_another_projects_zone(cast: Cast) -> None:
    make_whole_unit(cast.project)
    foreign = make_zone(cast.other_project, "901")
    with pytest.raises(IntegrityError, match="terminalunit_zone_same_project"):
        now(f"{UNIT} zone_id = {foreign.pk}")


def test_an_outlet_cannot_hang_on_another_projects_unit(cast: Cast) -> None:
    make_whole_unit(cast.project)
    with pytest.raises(IntegrityError, match="outlet_unit_same_project"):
        now(f"{OUTLET} project_id = {cast.other_project.pk}")


def test_an_inlet_in_use_cannot_be_deleted(cast: Cast) -> None:
    unit = make_whole_unit(cast.project)
    with pytest.raises(IntegrityError):
        now(f"delete from inventory_boxinlet where id = {unit.inlet_id}")


def now(statement: str) -> None:
    """Run a statement and look at deferred constraints at once."""
    with connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.execute("set constraints all immediate")
