"""Calculators of density, velocity and flow. Inputs and outputs in SI."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from balancing.airflow.domain import air, amplification, sensor, traverse
from balancing.airflow.domain.types import PRACTICE
from projectsite.core.formulas import Formula, Input, Output, Result, Step

_FUNDAMENTALS = "ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3 and density (1 + W)/v"
_QUICK_REFERENCE = (
    "V = 4005 √VP for standard air: airflow quick-reference sheet of an instrument maker; "
    "V = √(2 Δp/density): Bernoulli"
)
_SENSOR = "Q = K √Δp: installation manual of a terminal unit and help text of a controller"


def _air_density(
    temperature: float,
    humidity: float | None,
    elevation: float,
    pressure: float | None,
    duct_static: float,
) -> Result:
    station = air.standard_pressure_pa(elevation) if pressure is None else pressure
    absolute = air.duct_pressure_pa(station, duct_static)
    density = air.air_density_kg_m3(temperature, absolute, humidity)
    steps = []
    if pressure is None:
        steps.append(
            Step(
                "p = 101325 (1 − 2.25577e-5 Z)^5.2559, Z in m and p in Pa",
                (("Z", elevation, "elevation"), ("p", station, "barometric_pressure")),
            )
        )
    if duct_static:
        steps.append(
            Step(
                "p in the duct = p + duct static",
                (
                    ("duct static", duct_static, "pressure"),
                    ("p in the duct", absolute, "barometric_pressure"),
                ),
            )
        )
    text = "density = p/(287.042 T), T in K"
    if humidity is not None:
        ratio = air.humidity_ratio(temperature, humidity, absolute)
        steps.append(
            Step(
                "W = 0.621945 pw/(p − pw), pw = humidity × saturation pressure",
                (("humidity", humidity, "fraction"), ("W", ratio, "number")),
            )
        )
        text = "density = p (1 + W)/(287.042 T (1 + 1.607858 W)), T in K"
    steps.append(Step(text, (("T", temperature, "temperature"), ("density", density, "density"))))
    ratio = density / air.STANDARD_DENSITY_KG_M3
    return Result({"density": density, "pressure": absolute, "density_ratio": ratio}, tuple(steps))


def _velocity(velocity_pressure: float, density: float | None) -> Result:
    velocity = sensor.velocity_m_s(velocity_pressure, density)
    read = ("VP", velocity_pressure, "pressure")
    got = ("V", velocity, "velocity")
    if density is None:
        step = Step("V = 4005 √VP, in fpm and in. w.c., standard air", (read, got))
    else:
        step = Step("V = √(2 VP/density)", (read, ("density", density, "density"), got))
    return Result({"velocity": velocity}, (step,))


def _flow(k: float, sensed_pressure: float, density: float | None) -> Result:
    indicated = sensor.indicated_flow_m3_s(k, sensed_pressure)
    used = air.STANDARD_DENSITY_KG_M3 if density is None else density
    actual = sensor.actual_flow_m3_s(indicated, used)
    standard = sensor.standard_flow_m3_s(actual, used)
    steps = [
        Step(
            "indicated = K √Δp",
            (
                ("K", k, "k_factor"),
                ("Δp", sensed_pressure, "pressure"),
                ("indicated", indicated, "airflow"),
            ),
        )
    ]
    if density is not None:
        shown = ("density", density, "density")
        basis = ("standard density", air.STANDARD_DENSITY_KG_M3, "density")
        steps.append(
            Step(
                "actual = indicated √(standard density/density)",
                (basis, shown, ("actual", actual, "airflow")),
            )
        )
        steps.append(
            Step(
                "standard = indicated √(density/standard density)",
                (("standard", standard, "airflow"),),
            )
        )
    warnings = () if density is not None else ("No density was given: standard air is assumed.",)
    return Result(
        {"indicated": indicated, "actual": actual, "standard": standard}, tuple(steps), warnings
    )


def _k(
    measured: float,
    sensed_pressure: float | None,
    k_as_found: float | None,
    reported: float | None,
    free_area: float | None,
) -> Result:
    steps = []
    if sensed_pressure is not None:
        k = sensor.k_from_reading(measured, sensed_pressure)
        steps.append(
            Step(
                "K = measured/√Δp",
                (
                    ("measured", measured, "airflow"),
                    ("Δp", sensed_pressure, "pressure"),
                    ("K", k, "k_factor"),
                ),
            )
        )
    elif k_as_found is not None and reported is not None:
        k = sensor.k_corrected(k_as_found, measured, reported)
        steps.append(
            Step(
                "K = K as found × measured/reported",
                (
                    ("K as found", k_as_found, "k_factor"),
                    ("measured", measured, "airflow"),
                    ("reported", reported, "airflow"),
                    ("K", k, "k_factor"),
                ),
            )
        )
    else:
        raise ValueError("sensed_pressure is missing; or give k_as_found and reported instead")
    warnings = []
    change = None if k_as_found is None else k / k_as_found - 1.0
    if change is not None and abs(change) > PRACTICE.k_change * (1 + 1e-9):
        warnings.append(
            "K changes by more than 20 %: look for the cause first, and note the reason."
        )
    factor = None
    if free_area is not None:
        factor = amplification.amplification(free_area, k)
        steps.append(
            Step(
                "amplification = (4005 A/K)²",
                (("A", free_area, "free_area"), ("amplification", factor, "number")),
            )
        )
        if factor <= 1.0:
            warnings.append(
                "This K is impossible for an amplifying sensor in that area: check inlet size "
                "and units."
            )
        elif not PRACTICE.amplification_low <= factor <= PRACTICE.amplification_high:
            warnings.append("The amplification lies outside 1.5 to 3.5: check area and K.")
    return Result(
        {"k": k, "change": change, "amplification": factor}, tuple(steps), tuple(warnings)
    )


def _lowest(
    k: float, readable_pressure: float, scheduled_minimum: float | None, resolution: float | None
) -> Result:
    lowest = sensor.lowest_controllable_flow_m3_s(k, readable_pressure)
    steps = [
        Step(
            "lowest controllable flow = K √(lowest readable pressure)",
            (
                ("K", k, "k_factor"),
                ("lowest readable pressure", readable_pressure, "pressure"),
                ("lowest controllable flow", lowest, "airflow"),
            ),
        )
    ]
    warnings = []
    usable = error = None
    if scheduled_minimum is not None:
        usable = sensor.usable_minimum_m3_s(scheduled_minimum, lowest)
        if usable > scheduled_minimum * (1 + 1e-9):
            warnings.append("The scheduled minimum is below what the controller can hold.")
    if resolution is not None:
        error = sensor.signal_resolution(readable_pressure, resolution)
        steps.append(
            Step(
                "error = √(1 + d/Δp) − 1",
                (("d", resolution, "pressure"), ("error", error, "fraction")),
            )
        )
    return Result(
        {"lowest": lowest, "usable_minimum": usable, "error": error},
        tuple(steps),
        tuple(warnings),
    )


def _traverse(
    velocity_pressures: Sequence[float],
    width: float | None,
    height: float | None,
    diameter: float | None,
    density: float | None,
) -> Result:
    if diameter is not None and width is None and height is None:
        area = amplification.round_area_m2(diameter)
    elif diameter is None and width is not None and height is not None:
        area = traverse.rectangular_area_m2(width, height)
    else:
        raise ValueError("diameter is missing; or give width and height instead, not both")
    readings = np.array(velocity_pressures, dtype=float)
    told = traverse.flow_by_traverse(readings, area, density)
    warnings = []
    if not told.quality.is_good:
        warnings.append(
            "The plane is poor: more than 75 % of the readings must exceed a tenth of the "
            "largest, and none may be negative. Choose another plane."
        )
    steps = (
        Step(
            "V mean = mean of the velocities, each from its own VP",
            (("readings", float(readings.size), "number"), ("V", told.velocity_m_s, "velocity")),
        ),
        Step("Q = V A", (("A", area, "free_area"), ("Q", told.flow_m3_s, "airflow"))),
    )
    return Result(
        {
            "flow": told.flow_m3_s,
            "velocity": told.velocity_m_s,
            "area": area,
            "share_above": told.quality.share_above,
        },
        steps,
        tuple(warnings),
    )


_DENSITY = Input(
    "density", "density", "density of the air", required=False, help="Left out: standard air."
)
_K = Input("k", "k_factor", "K factor")

FORMULAS = (
    Formula(
        name="air-density",
        title="Density of air",
        summary="Density from temperature, humidity and elevation or barometer.",
        inputs=(
            Input("temperature", "temperature", "air temperature"),
            Input(
                "humidity", "fraction", "relative humidity", required=False, help="Left out: dry."
            ),
            Input("elevation", "elevation", "elevation", required=False, default=0.0),
            Input(
                "pressure",
                "barometric_pressure",
                "barometer on the site",
                required=False,
                help="Left out: from the elevation. A weather report is reduced to sea level.",
            ),
            Input("duct_static", "pressure", "duct static pressure", required=False, default=0.0),
        ),
        outputs=(
            Output("density", "density", "density"),
            Output("pressure", "barometric_pressure", "absolute pressure"),
            Output("density_ratio", "number", "density over that of standard air"),
        ),
        compute=_air_density,
        reference=_FUNDAMENTALS,
        mark="published",
    ),
    Formula(
        name="velocity-from-pressure",
        title="Velocity from velocity pressure",
        summary="Air velocity at one point from its velocity pressure.",
        inputs=(Input("velocity_pressure", "pressure", "velocity pressure"), _DENSITY),
        outputs=(Output("velocity", "velocity", "velocity"),),
        compute=_velocity,
        reference=_QUICK_REFERENCE,
        mark="published",
        cautions=(
            "4005 is rounded; with a density given, the result for standard air is 0.09 % higher.",
        ),
    ),
    Formula(
        name="flow-from-sensor",
        title="Flow from a sensor",
        summary="Flow from K factor and sensed pressure: indicated, actual and standard.",
        inputs=(_K, Input("sensed_pressure", "pressure", "sensed pressure"), _DENSITY),
        outputs=(
            Output("indicated", "airflow", "indicated flow"),
            Output("actual", "airflow", "actual flow"),
            Output("standard", "airflow", "standard flow"),
        ),
        compute=_flow,
        reference=f"{_SENSOR}; density by the square root: common practice, no source",
        mark="published",
        cautions=("Do not correct twice: leave the density out when the controller corrects.",),
    ),
    Formula(
        name="k-from-reading",
        title="K factor from one reading",
        summary="K factor from a measured flow, with the sensed pressure or with K as found.",
        inputs=(
            Input("measured", "airflow", "measured flow"),
            Input("sensed_pressure", "pressure", "sensed pressure", required=False),
            Input("k_as_found", "k_factor", "K as found", required=False),
            Input("reported", "airflow", "reported flow", required=False),
            Input("free_area", "free_area", "free area of the inlet", required=False),
        ),
        outputs=(
            Output("k", "k_factor", "K factor"),
            Output("change", "fraction", "change of K"),
            Output("amplification", "number", "amplification"),
        ),
        compute=_k,
        reference=f"{_SENSOR}; K × measured/reported: common practice, no source",
        mark="common practice, no source",
    ),
    Formula(
        name="lowest-controllable-flow",
        title="Lowest controllable flow",
        summary="Smallest flow that a controller can hold with a K factor.",
        inputs=(
            _K,
            Input("readable_pressure", "pressure", "lowest readable pressure"),
            Input("scheduled_minimum", "airflow", "scheduled minimum", required=False),
            Input("resolution", "pressure", "error of the sensed pressure", required=False),
        ),
        outputs=(
            Output("lowest", "airflow", "lowest controllable flow"),
            Output("usable_minimum", "airflow", "minimum to use"),
            Output("error", "fraction", "flow error at that pressure"),
        ),
        compute=_lowest,
        reference="K √VP_m: ASHRAE Guideline 36 §3.2.1",
        mark="from memory",
        cautions=(
            "0.003 to 0.004 in. w.c. is usual for modern controllers (from memory).",
            "One terminal maker's manual recommends 0.03 in. w.c.",
        ),
    ),
    Formula(
        name="traverse-flow",
        title="Flow by traverse",
        summary="Duct flow from velocity pressures at points of equal weight.",
        inputs=(
            Input("velocity_pressures", "pressure", "velocity pressures", is_list=True),
            Input("width", "diameter", "inside width", required=False),
            Input("height", "diameter", "inside height", required=False),
            Input("diameter", "diameter", "inside diameter", required=False),
            _DENSITY,
        ),
        outputs=(
            Output("flow", "airflow", "flow"),
            Output("velocity", "velocity", "mean velocity"),
            Output("area", "free_area", "area"),
            Output("share_above", "fraction", "readings above a tenth of the largest"),
        ),
        compute=_traverse,
        reference="UFGS-15951N §3.2.2.2: convert to velocity before averaging",
        mark="published",
    ),
)
