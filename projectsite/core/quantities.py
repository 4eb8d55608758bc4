"""Kinds of quantity: SI suffix, accepted units, and how each is shown in both unit systems."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from projectsite.core.scope import UnitSystem


@dataclass(frozen=True, slots=True)
class Display:
    """How a kind is shown: name of the unit in ``units.txt``, printed symbol, decimals."""

    unit: str
    symbol: str
    decimals: int


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of quantity.

    Attributes
    ----------
    name
        Key used in code, forms and the API.
    suffix
        End of every name that holds such a value in SI (``flow_m3_s``).
    si_unit
        Unit of the stored number, by its name in ``units.txt``.
    ip, si
        How it is shown in inch-pound and in SI projects.
    units
        Every unit that may be typed for it.
    aliases
        Shorthand of the trade that is clear for this kind only, normalised as in
        ``units.spellings``, with the unit that it means.
    """

    name: str
    label: str
    suffix: str
    si_unit: str
    ip: Display
    si: Display
    units: tuple[str, ...]
    aliases: Mapping[str, str] = field(default_factory=dict)

    def display(self, system: UnitSystem) -> Display:
        """How the kind is shown in this unit system."""
        return self.ip if system == "ip" else self.si


def _kind(
    name: str,
    label: str,
    suffix: str,
    si_unit: str,
    ip: Display,
    si: Display,
    *units: str,
    aliases: Mapping[str, str] | None = None,
) -> Kind:
    listed = tuple(dict.fromkeys((si_unit, ip.unit, si.unit, *units)))
    return Kind(name, label, suffix, si_unit, ip, si, listed, dict(aliases or {}))


_PERCENT = Display("percent", "%", 1)

_ALL = (
    _kind(
        "airflow",
        "airflow",
        "m3_s",
        "cubic_meter_per_second",
        Display("cubic_foot_per_minute", "cfm", 0),
        Display("liter_per_second", "L/s", 0),
        "cubic_meter_per_hour",
    ),
    _kind(
        "water_flow",
        "water flow",
        "m3_s",
        "cubic_meter_per_second",
        Display("gallon_per_minute", "gpm", 2),
        Display("liter_per_second", "L/s", 3),
        "liter_per_minute",
        "cubic_meter_per_hour",
    ),
    _kind(
        "pressure",
        "pressure",
        "pa",
        "pascal",
        Display("inch_water", "in. w.c.", 3),
        Display("pascal", "Pa", 1),
        "kilopascal",
        "millimeter_water",
        "inch_mercury",
        "psi",
        "millibar",
        # A static pressure of 1.5" is inches of water wherever ducts are spoken of.
        aliases={
            "in": "inch_water",
            "inch": "inch_water",
            "inches": "inch_water",
            '"': "inch_water",
        },
    ),
    _kind(
        "barometric_pressure",
        "barometric pressure",
        "pa",
        "pascal",
        Display("inch_mercury", "in. Hg", 2),
        Display("kilopascal", "kPa", 2),
        "inch_water",
        "psi",
        "millibar",
    ),
    _kind(
        "k_factor",
        "K factor",
        "m3_s_sqrt_pa",
        "meter3_per_second_per_root_pascal",
        Display("cfm_per_root_inch_water", "cfm at 1 in. w.c.", 0),
        Display("liter_per_second_per_root_pascal", "L/s/√Pa", 2),
        "cubic_meter_per_hour_per_root_pascal",
        # "K = 900 cfm" is how labels say it: the airflow at 1 in. w.c.
        aliases={"cfm": "cfm_per_root_inch_water"},
    ),
    _kind(
        "velocity",
        "velocity",
        "m_s",
        "meter_per_second",
        Display("foot_per_minute", "fpm", 0),
        Display("meter_per_second", "m/s", 2),
    ),
    _kind(
        "free_area",
        "free area",
        "m2",
        "square_meter",
        Display("square_foot", "ft²", 3),
        Display("square_meter", "m²", 4),
        "square_inch",
    ),
    _kind(
        "floor_area",
        "floor area",
        "m2",
        "square_meter",
        Display("square_foot", "ft²", 0),
        Display("square_meter", "m²", 1),
    ),
    _kind(
        "diameter",
        "diameter",
        "m",
        "meter",
        Display("inch", "in.", 1),
        Display("millimeter", "mm", 0),
        "centimeter",
        "foot",
    ),
    _kind(
        "length",
        "length",
        "m",
        "meter",
        Display("foot", "ft", 1),
        Display("meter", "m", 2),
        "inch",
        "millimeter",
        "centimeter",
    ),
    _kind(
        "elevation", "elevation", "m", "meter", Display("foot", "ft", 0), Display("meter", "m", 0)
    ),
    _kind(
        "temperature",
        "temperature",
        "degc",
        "degree_Celsius",
        Display("degree_Fahrenheit", "°F", 1),
        Display("degree_Celsius", "°C", 1),
        "kelvin",
    ),
    _kind(
        "temperature_difference",
        "temperature difference",
        "k",
        "kelvin_difference",
        Display("fahrenheit_difference", "°F", 1),
        Display("kelvin_difference", "K", 1),
        # A thermometer's unit means a difference wherever only a difference can be typed.
        aliases={
            "k": "kelvin_difference",
            "kelvin": "kelvin_difference",
            "c": "kelvin_difference",
            "°c": "kelvin_difference",
            "f": "fahrenheit_difference",
            "°f": "fahrenheit_difference",
        },
    ),
    _kind(
        "duration",
        "duration",
        "s",
        "second",
        Display("second", "s", 0),
        Display("second", "s", 0),
        "minute",
        "hour",
    ),
    _kind(
        "density",
        "density",
        "kg_m3",
        "kilogram_per_cubic_meter",
        Display("pound_per_cubic_foot", "lb/ft³", 4),
        Display("kilogram_per_cubic_meter", "kg/m³", 3),
    ),
    _kind(
        "power",
        "power",
        "w",
        "watt",
        Display("kilowatt", "kW", 2),
        Display("kilowatt", "kW", 2),
    ),
    _kind(
        "apparent_power",
        "apparent power",
        "va",
        "volt_ampere",
        Display("volt_ampere", "VA", 1),
        Display("volt_ampere", "VA", 1),
    ),
    _kind("voltage", "voltage", "v", "volt", Display("volt", "V", 0), Display("volt", "V", 0)),
    _kind(
        "control_voltage",
        "control voltage",
        "v",
        "volt",
        Display("volt", "V", 1),
        Display("volt", "V", 1),
    ),
    _kind(
        "current", "current", "a", "ampere", Display("ampere", "A", 2), Display("ampere", "A", 2)
    ),
    _kind("fraction", "share", "fraction", "fraction", _PERCENT, _PERCENT),
    _kind(
        "people",
        "people",
        "people",
        "person",
        Display("person", "people", 0),
        Display("person", "people", 0),
    ),
    _kind(
        "number", "number", "", "fraction", Display("fraction", "", 4), Display("fraction", "", 4)
    ),
)

KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _ALL}
"""Every kind by its name."""
