"""The field lists, the tables, the forms, the API and the files say the same."""

from __future__ import annotations

import pytest
from django.db import models

from projectsite.core.quantities import KINDS
from zones.inventory import models as tables
from zones.inventory.domain import fields
from zones.inventory.domain.fields import Field
from zones.inventory.domain.types import OutletFacts, UnitFacts
from zones.inventory.forms import RecordForm
from zones.inventory.queries import LISTED
from zones.inventory.serializers import records as serializers
from zones.inventory.tables.units import columns_to_read, names

LISTS: list[tuple[tuple[Field, ...], type[models.Model]]] = [
    (fields.UNIT_FIELDS, tables.TerminalUnit),
    (fields.OUTLET_FIELDS, tables.Outlet),
    (fields.AIR_HANDLER_FIELDS, tables.AirHandler),
    (fields.ZONE_FIELDS, tables.Zone),
    (fields.BOX_MODEL_FIELDS, tables.BoxModel),
    (fields.INLET_FIELDS, tables.BoxInlet),
    (fields.CONTROLLER_FIELDS, tables.ControllerModel),
]
KEPT_APART = {
    "id", "project_id", "sort_key", "entered", "revision", "source_import_id", "source_row",
    "archived_at", "version", "unit_id", "box_model_id",
}  # fmt: skip
"""Columns that no person types: keys, state and origin."""


def columns(model: type[models.Model]) -> dict[str, models.Field]:  # type: ignore[type-arg]  # any field
    return {column.attname: column for column in model._meta.concrete_fields}


@pytest.mark.parametrize(("listed", "model"), LISTS, ids=[m.__name__ for _, m in LISTS])
def test_every_column_that_people_type_is_listed_and_nothing_else(
    listed: tuple[Field, ...], model: type[models.Model]
) -> None:
    stored = {field.column for field in listed if field.is_stored}
    assert stored == set(columns(model)) - KEPT_APART


@pytest.mark.parametrize(("listed", "model"), LISTS, ids=[m.__name__ for _, m in LISTS])
def test_quantities_are_floats_whose_name_ends_in_the_suffix_of_their_kind(
    listed: tuple[Field, ...], model: type[models.Model]
) -> None:
    for field in listed:
        if field.is_quantity:
            assert isinstance(columns(model)[field.column], models.FloatField), field.name
            suffix = KINDS[field.kind].suffix
            assert field.name.endswith(suffix) or field.name == "population", field.name


@pytest.mark.parametrize(("listed", "model"), LISTS, ids=[m.__name__ for _, m in LISTS])
def test_texts_have_the_length_and_choices_of_their_column(
    listed: tuple[Field, ...], model: type[models.Model]
) -> None:
    for field in listed:
        column = columns(model).get(field.column)
        if field.kind == "text":
            assert column is not None
            assert column.max_length == field.max_length, field.name
        if field.kind == "choice":
            assert column is not None
            assert [tuple(pair) for pair in column.choices or []] == list(field.choices)


@pytest.mark.parametrize(("listed", "model"), LISTS, ids=[m.__name__ for _, m in LISTS])
def test_what_may_be_left_out_may_be_null_or_empty_in_the_table(
    listed: tuple[Field, ...], model: type[models.Model]
) -> None:
    for field in listed:
        column = columns(model).get(field.column)
        if column is not None and not field.required and field.default is None:
            assert column.null or column.blank, field.name


@pytest.mark.parametrize("listed", [each for each, _ in LISTS])
def test_a_form_has_every_stored_field(listed: tuple[Field, ...]) -> None:
    form = RecordForm(fields=listed, system="ip")
    assert set(form.fields) == {f.name for f in listed if f.is_stored} | {"version"}


IO = [
    (fields.UNIT_FIELDS, serializers.UnitIn, serializers.UnitOut),
    (fields.OUTLET_FIELDS, serializers.OutletIn, serializers.OutletOut),
    (fields.AIR_HANDLER_FIELDS, serializers.AirHandlerIn, serializers.AirHandlerOut),
    (fields.ZONE_FIELDS, serializers.ZoneIn, serializers.ZoneOut),
    (fields.BOX_MODEL_FIELDS, serializers.BoxModelIn, serializers.BoxModelOut),
    (fields.CONTROLLER_FIELDS, serializers.ControllerModelIn, serializers.ControllerModelOut),
]


@pytest.mark.parametrize(("listed", "taken", "given"), IO)
def test_the_api_takes_every_stored_field_and_gives_every_field(
    listed: tuple[Field, ...], taken: type[serializers.Plain], given: type[serializers.Plain]
) -> None:
    stored = {f.column if f.kind == "link" else f.name for f in listed if f.is_stored}
    assert set(taken().fields) == stored | {"version"}
    assert {f.name for f in listed} <= set(given().fields)


def test_a_listed_unit_is_what_the_api_describes() -> None:
    assert set(serializers.UnitOut().fields) == set(LISTED)


def test_a_list_and_its_file_can_show_every_field() -> None:
    everything = [field.name for field in fields.UNIT_FIELDS]
    assert list(names("all")) == everything
    assert set(columns_to_read("all")) <= set(LISTED)


def test_the_snapshot_of_a_unit_carries_every_setpoint_and_heat_value() -> None:
    kept = {f.name for f in fields.UNIT_FIELDS if f.is_stored and f.kind != "link"}
    kept -= {"position_x_m", "position_y_m", "note"}
    assert kept <= set(UnitFacts.__slots__)
    assert {f.name for f in fields.OUTLET_FIELDS} <= set(OutletFacts.__slots__)


def test_the_domain_offers_the_choices_of_the_tables() -> None:
    assert list(fields.FANS) == tables.FanChoice.choices
    assert list(fields.HEATS) == tables.HeatChoice.choices
    assert list(fields.OUTLET_KINDS) == tables.OutletKind.choices
