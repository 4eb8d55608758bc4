"""The edge of the calculators and the command: what is read, refused and shown."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from balancing.airflow.domain import registry
from projectsite.core import calculators, formulas
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.formulas import Formula, Input, Output, Result

registry.register_all()
NAMES = [
    "air-density", "velocity-from-pressure", "flow-from-sensor", "k-from-reading", "k-fit",
    "gain-offset-fit", "lowest-controllable-flow", "hood-uncertainty", "sensor-uncertainty",
]  # fmt: skip


def run(*arguments: str) -> str:
    out = StringIO()
    call_command("calculate", *arguments, stdout=out)
    return out.getvalue()


def test_registering_twice_is_harmless() -> None:
    before = formulas.all_formulas()
    registry.register_all()
    assert formulas.all_formulas() == before


def test_a_taken_name_is_refused() -> None:
    taken = Formula("air-density", "", "", (), (), lambda: Result({}), "", "derived")
    with pytest.raises(ValueError, match="'air-density' is registered twice"):
        formulas.register(taken)


@pytest.mark.parametrize("formula", registry.FORMULAS, ids=lambda formula: formula.name)
def test_formulas_say_what_they_need_and_where_they_come_from(formula: Formula) -> None:
    assert formula.reference
    described = calculators.describe(formula)
    for item in [*described["inputs"], *described["outputs"]]:
        assert item["label"]
    for item in described["inputs"]:
        assert item["kind"] or item["choices"]


def test_json_has_exactly_these_keys() -> None:
    answer = json.loads(run("k-from-reading", "measured=540 cfm", "k_as_found=900 cfm",
                            "reported=600 cfm", "--json"))  # fmt: skip
    assert list(answer) == ["name", "inputs", "outputs", "working", "reference", "warnings"]
    assert answer["outputs"]["k"] == {"value": 810.0, "unit": "cfm at 1 in. w.c."}
    assert answer["inputs"]["measured"] == {"value": 540.0, "unit": "cfm"}
    assert "K = K as found × measured/reported" in answer["working"][0]


def test_si_answer() -> None:
    answer = json.loads(run("flow-from-sensor", "k=900 cfm", "sensed_pressure=25 Pa",
                            "--units", "si", "--json"))  # fmt: skip
    assert answer["outputs"]["indicated"]["unit"] == "L/s"
    # 134.56 L/s is a computed check value of the K factor conversion.
    assert answer["outputs"]["indicated"]["value"] == pytest.approx(134.56, abs=0.01)


def test_list_describes_every_formula() -> None:
    described = json.loads(run("--list", "--json"))
    assert set(NAMES) <= {formula["name"] for formula in described}
    assert "sensed_pressure" in run("--list")


def test_plain_text_answer() -> None:
    told = run("velocity-from-pressure", "velocity_pressure=1 in. w.c.")
    assert "velocity: 4005 fpm" in told
    assert "Reference:" in told


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["no-such"], "There is no calculator “no-such”"),
        ([], "Name a formula"),
        (["k-fit", "sensed_pressure"], "is not of the form"),
        (["k-fit", "sensed_pressure=1 Pa", "sensed_pressure=2 Pa"], "given twice"),
        (["velocity-from-pressure", "velocity_pressure=abc"], "“abc” is not a number"),
        (["velocity-from-pressure", "velocity_pressure=1 cfm"], "“cfm” is not a unit of pressure"),
        (["velocity-from-pressure", "velocity_pressure=-1 Pa"], "velocity_pressure_pa must be at"),
        (["velocity-from-pressure", "pressure=1 Pa"], "has no input “pressure”"),
        (["velocity-from-pressure"], "velocity pressure is missing"),
        (["k-fit", "sensed_pressure=1,2 Pa", "measured=3 cfm"], "equally long"),
        (["k-fit", "sensed_pressure=1,,2 Pa", "measured=3,4,5 cfm"], "Value 2: Nothing"),
        (["k-from-reading", "measured=1e300", "sensed_pressure=1e-300"], "too large or too small"),
        (["gain-offset-fit", "reported=5,5 cfm", "measured=5,6 cfm"], "all readings at one value"),
        (["hood-uncertainty", "flow=5", "accuracy=3", "treat_as=x"], "outlets, repeats"),
        (["traverse-flow", "velocity_pressures=1,2 Pa"], "diameter is missing"),
    ],
)
def test_bad_input_is_one_plain_line(arguments: list[str], message: str) -> None:
    with pytest.raises(CommandError) as refusal:
        run(*arguments)
    assert message in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert refusal.value.returncode == 1


def test_every_wrong_input_is_named_at_once() -> None:
    with pytest.raises(InvalidInput) as refusal:
        calculators.calculate("k-fit", {"sensed_pressure": "x", "odd": "1"}, system="ip")
    assert set(refusal.value.fields) == {"sensed_pressure", "odd", "measured"}


def test_numbers_are_si_and_text_is_in_the_readers_unit() -> None:
    by_text = calculators.calculate(
        "velocity-from-pressure", {"velocity_pressure": "1"}, system="ip"
    )
    by_number = calculators.calculate(
        "velocity-from-pressure", {"velocity_pressure": 249.08891}, system="ip"
    )
    assert by_text.outputs[0].value == pytest.approx(by_number.outputs[0].value)


@pytest.mark.parametrize("wrong", [True, float("nan"), float("inf"), 10**400, {"a": 1}])
def test_what_is_no_number_is_refused(wrong: object) -> None:
    with pytest.raises(InvalidInput):
        calculators.calculate("velocity-from-pressure", {"velocity_pressure": wrong}, system="ip")  # type: ignore[dict-item]  # as an API may send it


def test_unknown_formula() -> None:
    with pytest.raises(NotFound):
        calculators.find("nothing")


def test_too_many_values_are_refused() -> None:
    with pytest.raises(InvalidInput, match="too many"):
        calculators.calculate(
            "hood-uncertainty", {"flow": [1.0] * 501, "accuracy": 0.03}, system="si"
        )


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({}, "flow is missing"),
        ({"flow": 1.0}, "flow takes a list"),
        ({"flow": []}, "flow has no numbers"),
        ({"flow": [float("nan")]}, "flow must be a finite number"),
        ({"flow": [1.0], "way": "up"}, "way is one of down"),
        ({"flow": [1.0], "other": 1.0}, "has no input 'other'"),
        ({"flow": [1.0], "one": "2"}, "one takes one number"),
        ({"flow": [1.0], "one": True}, "one takes one number"),
    ],
)
def test_the_registry_checks_shapes(given: dict[str, object], message: str) -> None:
    formula = Formula(
        "shape", "", "",
        (Input("flow", "airflow", "flow", is_list=True),
         Input("one", "airflow", "one", required=False),
         Input("way", "", "way", choices=("down",), default="down")),
        (Output("out", "number", "out"),),
        lambda *, flow, one, way: Result({"out": float(len(flow))}), "", "derived",
    )  # fmt: skip
    with pytest.raises(ValueError, match=message):
        formulas.compute(formula, given)  # type: ignore[arg-type]  # wrong on purpose
