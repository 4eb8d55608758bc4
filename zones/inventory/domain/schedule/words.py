"""What the headings of schedules mean: our table of synonyms (common practice, no source)."""

from __future__ import annotations

import re
from collections.abc import Mapping

_SAME: Mapping[str, str] = {
    **dict.fromkeys(("clg", "cool", "cooling", "cl"), "cooling"),
    **dict.fromkeys(("htg", "heat", "heating", "ht"), "heating"),
    **dict.fromkeys(("max", "maximum", "maxi"), "max"),
    **dict.fromkeys(("min", "minimum", "mini"), "min"),
    **dict.fromkeys(("ahu", "rtu", "airhandler"), "ahu"),
    **dict.fromkeys(("dia", "diameter", "diam", "ø"), "size"),
    **dict.fromkeys(("sz", "sizes"), "size"),
    **dict.fromkeys(("no", "number", "nr", "num", "#", "mark", "id", "tag", "designation"), "tag"),
    **dict.fromkeys(("lvl", "level", "storey", "story", "floors"), "floor"),
    **dict.fromkeys(("temp", "temperature", "temps"), "temp"),
    **dict.fromkeys(("volt", "volts", "voltage", "v"), "volts"),
    **dict.fromkeys(("ph", "phase", "phases"), "phases"),
    **dict.fromkeys(("stage", "stages", "steps"), "stages"),
    **dict.fromkeys(("remark", "remarks", "note", "notes", "comment", "comments"), "remarks"),
    **dict.fromkeys(("hw", "hhw", "lphw", "lthw", "water"), "water"),
    **dict.fromkeys(("ent", "entering", "entry", "supply", "ewt"), "entering"),
    **dict.fromkeys(("lvg", "leaving", "return", "lwt"), "leaving"),
    **dict.fromkeys(("unocc", "unoccupied", "standby", "setback"), "standby"),
    **dict.fromkeys(("elec", "electric", "electrical"), "electric"),
    **dict.fromkeys(("heater", "heaters", "eh"), "heater"),
    **dict.fromkeys(("ctrl", "controller", "controls"), "controller"),
    **dict.fromkeys(("diffuser", "grille", "outlet", "register"), "outlet"),
    **dict.fromkeys(("room", "rooms", "location", "area", "space", "serves", "served"), "room"),
    **dict.fromkeys(("mac",), "mac"),
}
_DROPPED = frozenset(
    {"of", "the", "in", "at", "and", "to", "for", "air", "airflow", "design", "scheduled",
     "setpoint", "primary", "rate", "vav", "terminal", "box", "quantity", "discharge"}
)  # fmt: skip
_WORD = re.compile(r"[^\W_]+|#")


def phrase(text: str) -> str:
    """Reduce a heading to known words in a fixed spelling; order is kept.

    >>> phrase("CLG. MAX"), phrase("No. of phases"), phrase("Inlet dia.")
    ('cooling max', 'tag phases', 'inlet size')
    """
    words = [_SAME.get(word, word) for word in _WORD.findall(text.casefold())]
    kept = [word for word in words if word not in _DROPPED] or words
    return " ".join(dict.fromkeys(kept))


def _table(entries: Mapping[str, tuple[str, ...]]) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for name, headings in entries.items():
        for heading in headings:
            key = phrase(heading)
            found[key] = (*found.get(key, ()), name)
    return found


UNIT_HEADINGS = _table({
    "tag": (
        "Tag", "Unit", "Unit tag", "Unit mark", "Unit no", "Mark", "Box tag", "Box", "VAV", "VAV tag",
        "VAV box", "Terminal unit", "Terminal unit tag", "TU", "TU tag", "Designation", "ID", "Name",
        "Equipment tag", "Unit name", "Terminal",
    ),
    "air_handler": (
        "AHU", "Air handler", "Air handling unit", "AHU tag", "System", "Served by", "Fed from",
        "Unit AHU", "Air system", "Supply unit", "Handler",
    ),
    "zone": ("Zone", "Zone tag", "Zone no", "Thermal zone", "Unit zone"),
    "floor": ("Floor", "Level", "Storey", "Unit floor"),
    "location": (
        "Room", "Location", "Area served", "Room served", "Room name", "Space", "Serves", "Area",
        "Unit room", "Unit location", "Room no",
    ),
    "position_x_m": ("X", "Position x", "East", "Position from the west", "Position on the floor x"),
    "position_y_m": ("Y", "Position y", "North", "Position from the south"),
    "fan": ("Fan", "Fan type", "Fan arrangement", "Fan powered", "Unit fan"),
    "heat": (
        "Reheat", "Coil", "Heat", "Heating", "Reheat type", "Heating type", "Coil type", "Heat type",
        "Reheat coil", "Heating coil", "Type of heat", "Heat source",
    ),
    "box_model": (
        "Box model", "Model", "Type", "Type of unit", "Unit type", "Box type", "VAV type", "Unit model",
        "Terminal type",
    ),
    "inlet": (
        "Inlet", "Inlet size", "Inlet dia", "Size", "Inlet diameter", "Box size", "Unit size",
        "Duct size", "Neck size", "Primary inlet", "Inlet duct size",
    ),
    "controller_model": ("Controller", "Controller model", "Controller type"),
    "cooling_max_m3_s": (
        "Cooling max", "Max cooling", "Max", "Max flow", "Airflow max", "Cooling maximum airflow",
        "Max airflow", "Cooling max flow", "Design airflow", "Cooling", "Cooling airflow", "Vmax",
        "Cooling flow", "Flow", "Cooling setpoint max", "Occupied max", "Occupied cooling max",
    ),
    "cooling_min_m3_s": (
        "Cooling min", "Min cooling", "Min", "Min flow", "Airflow min", "Min airflow", "Vmin",
        "Cooling min flow", "Ventilation min", "Occupied min", "Occupied cooling min",
    ),
    "heating_max_m3_s": (
        "Heating max", "Max heating", "Heating airflow", "Heating max flow", "Heating flow", "Reheat max",
        "Reheat airflow", "Heating max airflow",
    ),
    "heating_min_m3_s": ("Heating min", "Min heating", "Heating min flow", "Reheat min"),
    "standby_min_m3_s": (
        "Standby min", "Standby", "Unoccupied min", "Unoccupied", "Standby minimum flow", "Unoccupied flow",
    ),
    "water_flow_m3_s": (
        "Water flow", "HW flow", "Reheat water flow", "Coil flow", "GPM", "Water", "Hot water flow",
        "Reheat flow", "Reheat", "Heating water flow", "Coil water flow",
    ),
    "entering_water_degc": (
        "EWT", "Entering water", "Entering water temp", "Flow temp", "Water in", "Supply water temp",
        "Water entering temp",
    ),
    "leaving_water_degc": (
        "LWT", "Leaving water", "Leaving water temp", "Return temp", "Return water temp", "Water leaving temp",
    ),
    "coil_rows": ("Rows", "Coil rows", "No of rows", "Number of rows", "Reheat rows"),
    "valve_cv": ("Cv", "Valve Cv", "Control valve Cv"),
    "heater_power_w": (
        "Heater", "Heater power", "Electric heater", "Heater kW", "kW", "Heater capacity", "Electric heat",
        "Electric reheat", "Electric coil", "Reheat", "Coil", "Reheat capacity", "Heating capacity",
        "Heater size", "Reheat power",
    ),
    "heater_voltage_v": ("Volts", "Voltage", "Heater voltage", "Heater volts", "Electric volts", "Reheat volts"),
    "heater_phases": ("Phases", "Phase", "Heater phases", "No of phases", "Reheat phase"),
    "heater_stages": ("Stages", "Heater stages", "No of stages", "Reheat stages"),
    "heater_voltage_and_phases": (
        "Volts/ph", "V/ph", "V/ph/Hz", "Voltage/phase", "Heater volts/ph", "Reheat volts/ph",
        "Volts phases", "Power supply", "Electrical",
    ),
    "discharge_limit_degc": (
        "Discharge limit", "Discharge air limit", "Max discharge temp", "Discharge temp limit",
    ),
    "network_number": ("Network number", "Network", "BACnet network"),
    "mac_address": ("MAC address", "MAC", "Address"),
    "device_instance": ("Device instance", "Instance", "Device ID", "Device instance number"),
    "note": ("Note", "Notes", "Remarks", "Comments"),
})  # fmt: skip

OUTLET_HEADINGS = _table({
    "unit": (
        "Unit tag", "Unit", "VAV", "VAV tag", "Terminal unit", "Box", "Box tag", "Served by", "TU",
        "Unit no", "Fed from", "Terminal unit tag",
    ),
    "tag": (
        "Outlet tag", "Outlet", "Diffuser tag", "Diffuser", "Grille tag", "Tag", "Mark", "Outlet no",
        "Outlet number", "Diffuser no",
    ),
    "kind": ("Type", "Kind", "Outlet type", "Diffuser type", "Outlet kind"),
    "location": ("Room", "Location", "Area served", "Outlet location", "Room served"),
    "design_m3_s": (
        "Design flow", "Design airflow", "Flow", "Airflow", "Outlet flow", "Outlet airflow", "CFM", "L/s",
        "Design",
    ),
    "hood_factor": ("Hood factor", "Factor", "Correction factor", "Ak", "K"),
})  # fmt: skip

HEADINGS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "units": UNIT_HEADINGS,
    "outlets": OUTLET_HEADINGS,
}
"""Phrase to fields, the likeliest first, by what the file lists."""
