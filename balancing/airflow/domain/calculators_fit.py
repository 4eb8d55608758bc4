"""Calculators that fit K factor, gain and offset, and balance outlets. Values in SI."""

from __future__ import annotations

from collections.abc import Sequence

from balancing.airflow.domain import fit, outlets
from balancing.airflow.domain.choice import KOption, choose
from balancing.airflow.domain.ranges import require, require_same_length
from balancing.airflow.domain.types import METHOD_NAMES, PRACTICE
from projectsite.core.formulas import Formula, Input, Output, Result, Step, Value


def _k_fit(
    sensed_pressure: Sequence[float],
    measured: Sequence[float],
    uncertainty: float,
    readable_pressure: float,
    k_as_found: float | None,
) -> Result:
    require_same_length(sensed_pressure=sensed_pressure, measured=measured)
    require("uncertainty", uncertainty, "", low=0.0)
    require("readable_pressure", readable_pressure, "Pa", low=0.0, above=True)
    for pressure, flow in zip(sensed_pressure, measured, strict=True):
        require("sensed_pressure", pressure, "Pa", low=0.0, above=True)
        require("measured", flow, "m³/s", low=0.0, above=True)
    choice = choose(
        sensed_pressure,
        measured,
        uncertainty=uncertainty,
        readable_pressure_pa=readable_pressure,
        practice=PRACTICE,
        k_as_found=k_as_found,
    )
    if choice is None:
        raise ValueError("sensed_pressure has no readings")
    by_method = {option.method: option for option in choice.options}
    zero = by_method.get("zero-offset")
    outputs: dict[str, Value] = {
        "k": choice.option.k_m3_s_sqrt_pa,
        "method": choice.option.method,
        "k_least_squares": _k_of(by_method.get("least-squares")),
        "k_least_relative": _k_of(by_method.get("least-relative")),
        "k_zero_offset": _k_of(zero),
        "zero": None if zero is None else zero.zero_pa,
        "k_each": [q / p**0.5 for p, q in zip(sensed_pressure, measured, strict=True)],
        "predicted": list(choice.option.predicted_m3_s),
        "errors": list(choice.option.errors),
        "predicted_zero_offset": None if zero is None else list(zero.predicted_m3_s),
        "spread": choice.spread,
        "change": choice.change,
    }
    warnings = [choice.reason]
    if any(pressure < readable_pressure * (1 - 1e-9) for pressure in sensed_pressure):
        warnings.append("A sensed pressure is below what the controller can read: leave it out.")
    if choice.needs_reason:
        warnings.append("K changes by more than 20 %: look for the cause and note the reason.")
    if zero is not None and zero.refusal:
        warnings.append(f"Do not enter the offset. {zero.refusal}")
    return Result(outputs, tuple(_fit_step(option) for option in choice.options), tuple(warnings))


def _k_of(option: KOption | None) -> float | None:
    return None if option is None else option.k_m3_s_sqrt_pa


_TEXTS = {
    "one-reading": "K = Q/√Δp at the highest pressure",
    "least-squares": "K = Σ√Δp Q/ΣΔp",
    "least-relative": "K = Σ(√Δp/Q)/Σ(Δp/Q²)",
    "zero-offset": "line of Q² on Δp: K = √slope, zero = −intercept/slope",
}


def _fit_step(option: KOption) -> Step:
    terms: list[tuple[str, float | str | None, str]] = [("K", option.k_m3_s_sqrt_pa, "k_factor")]
    if option.method == "zero-offset":
        terms.append(("zero", option.zero_pa, "pressure"))
    return Step(f"{METHOD_NAMES[option.method]}: {_TEXTS[option.method]}", tuple(terms))


def _gain_offset(
    reported: Sequence[float], measured: Sequence[float], lowest: float | None
) -> Result:
    require_same_length(reported=reported, measured=measured)
    line = fit.fit_gain_offset(reported, measured)
    predicted = [line.gain * flow + line.offset_m3_s for flow in reported]
    warnings = []
    if lowest is not None and line.offset_m3_s > lowest * (1 + 1e-9):
        warnings.append(
            "Do not enter this offset: without air the controller would show more than its "
            "lowest controllable flow."
        )
    if len(reported) == 2:
        warnings.append("Two readings give the line exactly and leave nothing to check it by.")
    step = Step(
        "measured = gain × reported + offset, least squares",
        (("gain", line.gain, "number"), ("offset", line.offset_m3_s, "airflow")),
    )
    return Result(
        {"gain": line.gain, "offset": line.offset_m3_s, "predicted": predicted},
        (step,),
        tuple(warnings),
    )


def _balance(design: Sequence[float], measured: Sequence[float], unit: float | None) -> Result:
    require_same_length(design=design, measured=measured)
    plan = outlets.balance(design, measured, unit_m3_s=unit)
    steps = [
        Step(
            "final share of design = Σ measured/Σ design"
            if unit is None
            else "final share of design = unit/Σ design",
            (("final share of design", plan.ratio, "fraction"),),
        )
    ]
    steps.extend(
        Step(
            f"set outlet {step.index + 1}: target = share of its group × design",
            (
                ("share of its group", step.ratio, "fraction"),
                ("target", step.target_m3_s, "airflow"),
            ),
        )
        for step in plan.steps
    )
    warnings = []
    if plan.spread > PRACTICE.balance_spread:
        warnings.append(
            "The best served outlet gets more than twice the share of the worst: look for a "
            "closed, crushed or missing branch before balancing."
        )
    return Result(
        {
            "ratio": plan.ratio,
            "ratios": list(plan.ratios),
            "key_outlet": float(plan.key + 1),
            "final": list(plan.final_m3_s),
            "order": [float(step.index + 1) for step in plan.steps],
            "targets": [step.target_m3_s for step in plan.steps],
        },
        tuple(steps),
        tuple(warnings),
    )


FORMULAS = (
    Formula(
        name="k-fit",
        title="K factor from several readings",
        summary="Four fits of flow on sensed pressure, and which one to take.",
        inputs=(
            Input("sensed_pressure", "pressure", "sensed pressures", is_list=True),
            Input("measured", "airflow", "measured flows", is_list=True),
            Input(
                "uncertainty",
                "fraction",
                "uncertainty of a measured flow",
                required=False,
                default=0.05,
            ),
            Input(
                "readable_pressure",
                "pressure",
                "lowest readable pressure",
                required=False,
                # 0.004 in. w.c. (from memory: ASHRAE Guideline 36).
                default=0.004 * 249.08891,
            ),
            Input("k_as_found", "k_factor", "K as found", required=False),
        ),
        outputs=(
            Output("k", "k_factor", "recommended K factor"),
            Output("method", "", "recommended fit"),
            Output("k_least_squares", "k_factor", "K by least squares through zero"),
            Output("k_least_relative", "k_factor", "K by least relative squares"),
            Output("k_zero_offset", "k_factor", "K with zero offset"),
            Output("zero", "pressure", "zero error of the transducer"),
            Output("k_each", "k_factor", "K of each reading", is_list=True),
            Output("predicted", "airflow", "flows predicted by the recommended K", is_list=True),
            Output("errors", "fraction", "predicted against measured", is_list=True),
            Output(
                "predicted_zero_offset", "airflow", "flows predicted with zero offset", is_list=True
            ),
            Output("spread", "fraction", "largest over smallest K, less 1"),
            Output("change", "fraction", "change of K"),
        ),
        compute=_k_fit,
        reference="Least squares of Q = K √Δp and of Q² = K² (Δp − zero)",
        mark="common practice, no source",
    ),
    Formula(
        name="gain-offset-fit",
        title="Gain and offset",
        summary="Gain and offset that turn reported into measured flow.",
        inputs=(
            Input("reported", "airflow", "reported flows", is_list=True),
            Input("measured", "airflow", "measured flows", is_list=True),
            Input("lowest", "airflow", "lowest controllable flow", required=False),
        ),
        outputs=(
            Output("gain", "number", "gain"),
            Output("offset", "airflow", "offset"),
            Output("predicted", "airflow", "flows after the correction", is_list=True),
        ),
        compute=_gain_offset,
        reference="Ordinary least squares",
        mark="common practice, no source",
    ),
    Formula(
        name="outlet-balance",
        title="Proportional balance of outlets",
        summary="Key outlet, order and targets, and where every outlet will end.",
        inputs=(
            Input("design", "airflow", "design flows", is_list=True),
            Input("measured", "airflow", "flows with dampers open", is_list=True),
            Input("unit", "airflow", "flow that the unit will hold", required=False),
        ),
        outputs=(
            Output("ratio", "fraction", "final share of design"),
            Output("ratios", "fraction", "shares of design now", is_list=True),
            Output("key_outlet", "number", "key outlet, counted from 1"),
            Output("final", "airflow", "final flows", is_list=True),
            Output("order", "number", "outlets in the order to set them", is_list=True),
            Output("targets", "airflow", "flow to set at each of them", is_list=True),
        ),
        compute=_balance,
        reference="Proportional method: balancing course notes; the prediction is derived",
        mark="derived",
    ),
)
