"""Air handlers, zones, units, outlets and library entries for tests."""

from __future__ import annotations

from typing import Any

from projectsite.accounts.models import Project
from projectsite.core.numeric import natural_key
from zones.inventory.models import (
    AirHandler,
    BoxInlet,
    BoxModel,
    ControllerModel,
    Outlet,
    TerminalUnit,
    Zone,
)

CFM = 0.0004719474432
"""1 cfm in m³/s (foot, exact)."""
INCH_WATER = 249.08891
"""1 in. w.c. in Pa."""
K = CFM / INCH_WATER**0.5
"""A K factor of 1 cfm at 1 in. w.c. in SI."""


def make_box_model(name: str = "Single duct", **overrides: Any) -> BoxModel:
    """Store a box model without inlets."""
    return BoxModel.objects.create(name=name, **overrides)


def make_inlet(
    box_model: BoxModel | None = None, label: str = "8 in", **overrides: Any
) -> BoxInlet:
    """Store an 8 in. inlet: 0.3386 ft², K 916 cfm at 1 in. w.c., 60 to 740 cfm."""
    values: dict[str, Any] = {
        "diameter_m": 0.2032,
        "free_area_m2": 0.3386 * 0.09290304,
        "nominal_k_m3_s_sqrt_pa": 916 * K,
        "scheduled_low_m3_s": 60 * CFM,
        "scheduled_high_m3_s": 740 * CFM,
    }
    model = box_model or make_box_model()
    return BoxInlet.objects.create(box_model=model, label=label, **(values | overrides))


def make_controller_model(name: str = "Box controller", **overrides: Any) -> ControllerModel:
    """Store a controller model: reads from 0.004 in. w.c., 1 in. range, 2 % and 0.001 in. w.c."""
    values: dict[str, Any] = {
        "readable_pressure_pa": 0.004 * INCH_WATER,
        "span_pa": INCH_WATER,
        "accuracy_fraction": 0.02,
        "accuracy_floor_pa": 0.001 * INCH_WATER,
    }
    return ControllerModel.objects.create(name=name, **(values | overrides))


def make_air_handler(project: Project, tag: str = "AH-1", **overrides: Any) -> AirHandler:
    """Store an air handler of 8,000 cfm."""
    values: dict[str, Any] = {"design_m3_s": 8000 * CFM, "sort_key": natural_key(tag)}
    return AirHandler.objects.create(project=project, tag=tag, **(values | overrides))


def make_zone(project: Project, tag: str = "201", **overrides: Any) -> Zone:
    """Store a zone on floor 2."""
    values: dict[str, Any] = {"name": "Reading room", "floor": "2", "sort_key": natural_key(tag)}
    return Zone.objects.create(project=project, tag=tag, **(values | overrides))


def make_unit(project: Project, tag: str = "TU-2-1", **overrides: Any) -> TerminalUnit:
    """Store a unit without reheat: 700 cfm maximum, 180 cfm minimum, no links."""
    values: dict[str, Any] = {
        "floor": "2",
        "cooling_max_m3_s": 700 * CFM,
        "cooling_min_m3_s": 180 * CFM,
        "sort_key": natural_key(tag),
    }
    return TerminalUnit.objects.create(project=project, tag=tag, **(values | overrides))


def make_whole_unit(project: Project, tag: str = "TU-2-1", **overrides: Any) -> TerminalUnit:
    """Store a unit that nothing is missing from: links, heating and two outlets."""
    inlet = BoxInlet.objects.filter(label="8 in").first() or make_inlet()
    controller = ControllerModel.objects.first() or make_controller_model()
    values: dict[str, Any] = {
        "air_handler": AirHandler.objects.filter(project=project).first()
        or make_air_handler(project),
        "zone": Zone.objects.filter(project=project).first() or make_zone(project),
        "inlet": inlet,
        "controller_model": controller,
        "heat": "hot-water",
        "heating_max_m3_s": 320 * CFM,
        "water_flow_m3_s": 0.0001,
    }
    unit = make_unit(project, tag, **(values | overrides))
    for number in (1, 2):
        make_outlet(unit, f"D-{number}")
    return unit


def make_outlet(unit: TerminalUnit, tag: str = "D-1", **overrides: Any) -> Outlet:
    """Store a ceiling diffuser of 350 cfm."""
    values: dict[str, Any] = {"design_m3_s": 350 * CFM, "sort_key": natural_key(tag)}
    return Outlet.objects.create(
        project_id=unit.project_id, unit=unit, tag=tag, **(values | overrides)
    )
