"""Field calculators on their page and in the API, with a formula that only tests know."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from projectsite.core import formulas
from projectsite.core.formulas import Formula, Input, Output, Result, Step
from tests.builders import Cast

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]


def _shares(flow_m3_s: float, parts: list[float], mode: str) -> Result:
    if flow_m3_s < 0:
        raise ValueError("flow is below zero")
    shares = [flow_m3_s * part for part in parts]
    step = Step("flow × share", (("flow", flow_m3_s, "airflow"),))
    return Result({"shares_m3_s": shares}, (step,), ("The shares are the tester's own.",))


SHARES = Formula(
    name="shares-for-tests",
    title="Shares of a flow",
    summary="Splits a flow.",
    inputs=(
        Input("flow_m3_s", "airflow", "Flow"),
        Input("parts", "number", "Parts", is_list=True),
        Input("mode", "", "Mode", choices=("plain", "fancy"), default="plain"),
    ),
    outputs=(Output("shares_m3_s", "airflow", "Shares", is_list=True),),
    compute=_shares,
    reference="made for this test",
    mark="derived",
)
PAGE = "/calculators/shares-for-tests/"
API = "/api/v1/calculators/shares-for-tests/"


@pytest.fixture(autouse=True)
def known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formulas, "_formulas", {SHARES.name: SHARES})


def test_the_page_computes_in_inch_pound(cast: Cast, sign_in: SignIn) -> None:
    query = {"flow": "1,000", "parts": "0.25, 0.75", "mode": "plain", "units": "ip"}
    shown = sign_in(cast.balancer).get(PAGE, query).content.decode()
    assert "250, 750 cfm" in shown
    assert "flow × share: flow = 1000 cfm" in shown
    assert "The shares are the tester&#x27;s own." in shown
    assert "made for this test" in shown


def test_the_page_computes_in_si(cast: Cast, sign_in: SignIn) -> None:
    query = {"flow": "1000", "parts": "0.25,0.75", "mode": "plain", "units": "si"}
    assert "250, 750 L/s" in sign_in(cast.balancer).get(PAGE, query).content.decode()


def test_the_page_keeps_what_was_typed_and_says_what_is_wrong(cast: Cast, sign_in: SignIn) -> None:
    query = {"flow": "twelve", "parts": "1", "mode": "plain"}
    shown = sign_in(cast.balancer).get(PAGE, query).content.decode()
    assert "is not a number" in shown
    assert 'value="twelve"' in shown


def test_an_empty_page_complains_of_nothing(cast: Cast, sign_in: SignIn) -> None:
    assert 'role="alert"' not in sign_in(cast.balancer).get(PAGE).content.decode()


def test_the_api_describes_a_formula(cast: Cast, api_as: ApiAs) -> None:
    told = api_as(cast.balancer).get(API).json()
    assert [item["key"] for item in told["inputs"]] == ["flow", "parts", "mode"]
    assert told["inputs"][0]["units"] == {"ip": "cfm", "si": "L/s"}
    listed = api_as(cast.owner).get("/api/v1/calculators/").json()
    assert listed["results"] == [told]


def test_the_api_computes(cast: Cast, api_as: ApiAs) -> None:
    data = {"units": "si", "inputs": {"flow": "1000 L/s", "parts": [0.25, 0.75]}}
    told = api_as(cast.balancer).post(API, data).json()
    assert told["outputs"]["shares"] == {"value": [250.0, 750.0], "unit": "L/s"}
    assert told["reference"] == "made for this test (derived)"


@pytest.mark.parametrize(
    ("inputs", "field"),
    [
        ({"parts": [1]}, "flow"),
        ({"flow": "5 furlongs", "parts": [1]}, "flow"),
        ({"flow": 1, "parts": [1], "mode": "odd"}, "mode"),
        ({"flow": 1, "parts": [1], "more": 1}, "more"),
    ],
)
def test_the_api_names_the_wrong_input(
    cast: Cast, api_as: ApiAs, inputs: dict[str, object], field: str
) -> None:
    answer = api_as(cast.balancer).post(API, {"inputs": inputs})
    assert answer.status_code == 400
    assert field in answer.json()["fields"]


def test_an_unknown_formula_is_not_found(cast: Cast, sign_in: SignIn, api_as: ApiAs) -> None:
    assert sign_in(cast.owner).get("/calculators/none/").status_code == 404
    assert api_as(cast.owner).post("/api/v1/calculators/none/", {}).status_code == 404
