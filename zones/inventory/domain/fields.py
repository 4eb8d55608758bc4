"""Every field of a terminal unit and of an outlet: the one list that all edges follow.

Forms, serializers, ``.values()``, list columns, exports and the mapping of schedule
columns are made from it; a test holds it against the tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

FANS: tuple[tuple[str, str], ...] = (
    ("none", "none"),
    ("parallel", "parallel"),
    ("series", "series"),
)
HEATS: tuple[tuple[str, str], ...] = (
    ("none", "none"),
    ("hot-water", "hot water"),
    ("electric", "electric"),
)
OPTIONS: tuple[tuple[str, str], ...] = (("yes", "yes"), ("no", "no"))
PHASES: tuple[tuple[str, str], ...] = (("1", "1"), ("3", "3"))
OUTLET_KINDS: tuple[tuple[str, str], ...] = (
    ("ceiling", "ceiling diffuser"),
    ("slot", "slot diffuser"),
    ("sidewall", "sidewall register"),
    ("floor", "floor outlet"),
    ("perforated", "perforated diffuser"),
    ("other", "other"),
)


@dataclass(frozen=True, slots=True)
class Field:
    """One field.

    Attributes
    ----------
    name
        Name in forms, the API, imports and exports; quantities end in their SI suffix.
    label
        What people read; the unit is added where the value is shown or asked for.
    kind
        A kind of quantity (values in SI), or "text", "long-text", "choice", "count" for a
        whole number, "figure" for a number without a unit, "link" for another record that
        is named by its tag or name.
    source
        Where ``.values()`` finds what is shown; the same as ``name`` but for links.
    column
        Attribute of the table; "" when the field is only shown (a box model comes with
        its inlet).
    low, high
        Allowed range of a number, both included (SI for a quantity).
    is_above_zero
        The number must be more than zero.
    """

    name: str
    label: str
    kind: str
    group: str
    required: bool = False
    help: str = ""
    source: str = ""
    column: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    max_length: int = 0
    low: float | None = None
    high: float | None = None
    order: int = 0
    default: str | float | None = None
    is_above_zero: bool = False

    @property
    def is_quantity(self) -> bool:
        """Tell whether the value is an SI number of a kind of quantity."""
        return self.kind not in {"text", "long-text", "choice", "count", "figure", "link"}

    @property
    def is_stored(self) -> bool:
        """Tell whether the record itself holds the value."""
        return bool(self.column)

    @property
    def is_text(self) -> bool:
        """Tell whether the value is text that is empty, never unknown, when not given."""
        return self.kind in {"text", "long-text", "choice"}


def _numbered(*fields: Field) -> tuple[Field, ...]:
    """Fill in what follows from the name and the place in the list."""
    return tuple(
        replace(
            field,
            source=field.source or field.name,
            column="" if field.column == "-" else field.column or field.name,
            order=place,
        )
        for place, field in enumerate(fields)
    )


UNIT_FIELDS: tuple[Field, ...] = _numbered(
    Field("tag", "Tag", "text", "Unit", required=True, max_length=60),
    Field(
        "air_handler",
        "Air handler",
        "link",
        "Unit",
        source="air_handler__tag",
        column="air_handler_id",
    ),
    Field("zone", "Zone", "link", "Unit", source="zone__tag", column="zone_id"),
    Field("floor", "Floor", "text", "Unit", max_length=40),
    Field("location", "Location", "text", "Unit", max_length=120),
    Field(
        "position_x_m",
        "Position from the west",
        "length",
        "Position on the floor",
        help="Both or neither, from the south-west corner of the floor.",
    ),
    Field("position_y_m", "Position from the south", "length", "Position on the floor"),
    Field("fan", "Fan", "choice", "Box", choices=FANS, default="none"),
    Field("heat", "Reheat", "choice", "Box", choices=HEATS, default="none"),
    Field("box_model", "Box model", "link", "Box", source="inlet__box_model__name", column="-"),
    Field("inlet", "Inlet", "link", "Box", source="inlet__label", column="inlet_id"),
    Field(
        "controller_model",
        "Controller model",
        "link",
        "Box",
        source="controller_model__name",
        column="controller_model_id",
    ),
    Field("cooling_max_m3_s", "Cooling maximum", "airflow", "Airflow", low=0.0),
    Field("cooling_min_m3_s", "Cooling minimum", "airflow", "Airflow", low=0.0),
    Field("heating_max_m3_s", "Heating maximum", "airflow", "Airflow", low=0.0),
    Field("heating_min_m3_s", "Heating minimum", "airflow", "Airflow", low=0.0),
    Field("standby_min_m3_s", "Standby minimum", "airflow", "Airflow", low=0.0),
    Field(
        "water_flow_m3_s", "Reheat water flow", "water_flow", "Hot-water reheat", is_above_zero=True
    ),
    Field("entering_water_degc", "Entering water", "temperature", "Hot-water reheat"),
    Field("leaving_water_degc", "Leaving water", "temperature", "Hot-water reheat"),
    Field("coil_rows", "Coil rows", "count", "Hot-water reheat", low=1, high=12),
    Field(
        "valve_cv",
        "Valve Cv",
        "figure",
        "Hot-water reheat",
        low=0.01,
        high=1000,
        help="US gallons a minute at a pressure drop of 1 psi.",
    ),
    Field("heater_power_w", "Heater power", "power", "Electric reheat", is_above_zero=True),
    Field("heater_voltage_v", "Heater voltage", "voltage", "Electric reheat", is_above_zero=True),
    Field(
        "heater_phases",
        "Heater phases",
        "count",
        "Electric reheat",
        choices=PHASES,
        low=1,
        high=3,
    ),
    Field("heater_stages", "Heater stages", "count", "Electric reheat", low=1, high=12),
    Field("discharge_limit_degc", "Discharge limit", "temperature", "Limits"),
    Field("discharge_sensor", "Discharge sensor", "choice", "Options", choices=OPTIONS),
    Field("occupancy_sensor", "Occupancy sensor", "choice", "Options", choices=OPTIONS),
    Field("network_number", "Network number", "count", "Field bus", low=1, high=65_534),
    Field("mac_address", "MAC address", "count", "Field bus", low=0, high=127),
    Field("device_instance", "Device instance", "count", "Field bus", low=0, high=4_194_302),
    Field("note", "Note", "long-text", "Note", max_length=2000),
)

OUTLET_FIELDS: tuple[Field, ...] = _numbered(
    Field("tag", "Tag", "text", "Outlet", required=True, max_length=40),
    Field("kind", "Kind", "choice", "Outlet", choices=OUTLET_KINDS, default="ceiling"),
    Field("location", "Location", "text", "Outlet", max_length=120),
    Field("design_m3_s", "Design airflow", "airflow", "Outlet", low=0.0),
    Field(
        "hood_factor",
        "Hood factor",
        "figure",
        "Outlet",
        low=0.5,
        high=2.0,
        default=1.0,
        help="Traverse over hood for this kind of outlet; 1 unless it was determined.",
    ),
)

AIR_HANDLER_FIELDS: tuple[Field, ...] = _numbered(
    Field("tag", "Tag", "text", "Air handler", required=True, max_length=40),
    Field("name", "Name", "text", "Air handler", max_length=120),
    Field("design_m3_s", "Design airflow", "airflow", "Air handler", is_above_zero=True),
    Field(
        "design_static_pa",
        "Design duct static pressure",
        "pressure",
        "Air handler",
        is_above_zero=True,
    ),
    Field("design_supply_degc", "Design supply temperature", "temperature", "Air handler"),
)

ZONE_FIELDS: tuple[Field, ...] = _numbered(
    Field("tag", "Tag", "text", "Zone", required=True, max_length=60),
    Field("name", "Name", "text", "Zone", max_length=120),
    Field("floor", "Floor", "text", "Zone", max_length=40),
    Field("area_m2", "Floor area", "floor_area", "Zone", is_above_zero=True),
    Field("population", "People", "people", "Zone", low=0.0),
)

BOX_MODEL_FIELDS: tuple[Field, ...] = _numbered(
    Field("name", "Box model", "text", "Box model", required=True, max_length=80),
    Field("note", "Note", "long-text", "Box model", max_length=2000),
)

INLET_FIELDS: tuple[Field, ...] = _numbered(
    Field(
        "label",
        "Inlet size as written",
        "text",
        "Inlet",
        required=True,
        max_length=24,
        help="As on the schedule: 8 in, 200 mm, 24x16.",
    ),
    Field("diameter_m", "Nominal diameter", "diameter", "Inlet", required=True, is_above_zero=True),
    Field("free_area_m2", "Free area", "free_area", "Inlet", required=True, is_above_zero=True),
    Field(
        "nominal_k_m3_s_sqrt_pa",
        "Nominal K factor",
        "k_factor",
        "Inlet",
        required=True,
        is_above_zero=True,
    ),
    Field("scheduled_low_m3_s", "Smallest scheduled airflow", "airflow", "Inlet", low=0.0),
    Field("scheduled_high_m3_s", "Largest scheduled airflow", "airflow", "Inlet", low=0.0),
)

CONTROLLER_FIELDS: tuple[Field, ...] = _numbered(
    Field("name", "Controller model", "text", "Controller model", required=True, max_length=80),
    Field(
        "readable_pressure_pa",
        "Lowest readable pressure",
        "pressure",
        "Controller model",
        is_above_zero=True,
        help="Below it the reported airflow is not to be relied on.",
    ),
    Field("span_pa", "Pressure range", "pressure", "Controller model", is_above_zero=True),
    Field(
        "accuracy_fraction",
        "Accuracy, share of reading",
        "fraction",
        "Controller model",
        low=0.0,
        high=1.0,
    ),
    Field("accuracy_floor_pa", "Accuracy, fixed part", "pressure", "Controller model", low=0.0),
    Field("note", "Note", "long-text", "Controller model", max_length=2000),
)

UNIT_FIELD: Mapping[str, Field] = {field.name: field for field in UNIT_FIELDS}
OUTLET_FIELD: Mapping[str, Field] = {field.name: field for field in OUTLET_FIELDS}


def groups(fields: tuple[Field, ...]) -> dict[str, tuple[Field, ...]]:
    """Fields by group, both in order."""
    found: dict[str, tuple[Field, ...]] = {}
    for field in fields:
        found[field.group] = (*found.get(field.group, ()), field)
    return found
