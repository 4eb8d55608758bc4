import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django import forms
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import URLPattern, URLResolver, include, path, resolve
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # ships no types

from projectsite.accounts.access import Action
from projectsite.core.findings import Finding, Severity, Subject
from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.formulas import Step
from projectsite.core.scope import Person, ProjectFacts, Scope, Tolerances
from projectsite.ui.context import PLACES, chrome, navigation

ROOT = Path(__file__).parents[2]
TEMPLATES = sorted(
    found
    for folder in ("projectsite", "zones", "balancing", "network", "reports")
    for found in (ROOT / folder).rglob("templates/**/*.html")
)
SCRIPTS_AND_STYLES = sorted((ROOT / "projectsite/ui/static/ui").glob("*.*s"))


def page(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stands for any page."""
    return HttpResponse()


def _below(app: str, *names: str) -> URLResolver:
    patterns = [path(f"p/<str:project_key>/{app}/{name}/", page, name=name) for name in names]
    return path("", include((patterns, app)))


urlpatterns: list[URLPattern | URLResolver] = [
    path("", page, name="home"),
    path("calculators/", page, name="calculators"),
    _below("inventory", "units", "unit", "library"),
    _below("airflow", "tests"),
    _below("accounts", "project", "people", "settings"),
]
pytestmark = pytest.mark.urls(__name__)


def scope(*actions: str) -> Scope:
    limits = Tolerances(0.1, 0.1, 0.1, 0.1, 0.0, 0.05, 2.5, 0.02, 10.0, guard_band=False)
    facts = ProjectFacts(1, "alder", "2614", "Alder <Library>", "ip", "UTC", 0.0, "active", limits)
    return Scope(Person(1, "Robin Field"), facts, "office", frozenset(actions))


def request(address: str = "/", asking: Scope | None = None) -> HttpRequest:
    made = RequestFactory().get(address)
    made.resolver_match = resolve(address)
    made.user = SimpleNamespace(is_authenticated=True, full_name="Robin Field")  # type: ignore[assignment]  # a stand-in
    if asking is not None:
        made.scope = asking  # type: ignore[attr-defined]  # set by accounts.access on real requests
    return made


def rendered(source: str, context: dict[str, Any], asked: HttpRequest | None = None) -> str:
    return engines["django"].from_string(source).render(context, asked or request())


# --- policy ---------------------------------------------------------------------------------


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda found: str(found.relative_to(ROOT)))
def test_templates_hold_no_inline_style_script_or_handler(template: Path) -> None:
    text = template.read_text(encoding="utf-8")
    assert not re.search(r"<style\b", text, re.IGNORECASE)
    assert not re.search(r"<[^>]*\sstyle\s*=", text, re.IGNORECASE)
    assert not re.search(r"<[^>]*\son[a-z]+\s*=", text, re.IGNORECASE)
    assert not re.search(r"hx-on\b|hx-vals=['\"]js:|javascript:", text, re.IGNORECASE)
    for attributes in re.findall(r"<script\b([^>]*)>", text, re.IGNORECASE):
        assert "src=" in attributes or 'type="application/json"' in attributes


def test_the_grep_looks_at_templates() -> None:
    assert len(TEMPLATES) > 15


@pytest.mark.parametrize("asset", SCRIPTS_AND_STYLES, ids=lambda found: found.name)
def test_scripts_and_styles_fetch_nothing_from_elsewhere(asset: Path) -> None:
    text = asset.read_text(encoding="utf-8")
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    for address in re.findall(r"url\(\"([^\"]+)\"\)", text):
        assert (asset.parent / address).is_file()


def test_every_static_name_in_templates_exists() -> None:
    names = {
        name
        for template in TEMPLATES
        if "projectsite/ui" in template.as_posix()
        for name in re.findall(r"{% static \"([^\"]+)\"", template.read_text(encoding="utf-8"))
    }
    assert names
    assert [name for name in names if finders.find(name) is None] == []


# --- fonts ----------------------------------------------------------------------------------

FONTS = ROOT / "projectsite/ui/static/ui/fonts"
SIGNS = "√²³°×−±≤≥Δ—–…“”’·→←↑↓Ω≈½¼µéŁź"


@pytest.mark.parametrize(
    "name",
    ["archivo-400", "archivo-600", "archivo-700", "archivo-narrow-400", "archivo-narrow-600"],
)
def test_faces_have_tabular_figures(name: str) -> None:
    font = TTFont(FONTS / f"{name}.woff2")
    features = {record.FeatureTag for record in font["GSUB"].table.FeatureList.FeatureRecord}
    assert "tnum" in features


def test_every_sign_of_the_trade_is_in_a_shipped_face() -> None:
    symbols = set(TTFont(FONTS / "sheet-symbols.woff2").getBestCmap())
    for face in ("archivo-400", "archivo-narrow-400"):
        known = set(TTFont(FONTS / f"{face}.woff2").getBestCmap()) | symbols
        assert [sign for sign in SIGNS if ord(sign) not in known] == []


# --- frame ----------------------------------------------------------------------------------


def labels(asking: Scope | None, view_name: str = "home") -> list[str]:
    return [item.label for item in navigation(asking, view_name)]


def test_navigation_offers_only_what_exists_and_the_role_may_see() -> None:
    office = scope("see", "see-tests", "manage-people", "edit-project")
    missing = {"Documents", "Work", "Punch list"}
    assert labels(office) == [place.label for place in PLACES if place.label not in missing]
    assert "Airflow" not in labels(scope("see"))
    assert "People" not in labels(scope("see"))
    assert labels(None) == ["Home", "Calculators"]


@pytest.mark.parametrize(
    ("view_name", "label", "current"),
    [
        ("inventory:units", "Schedule", "page"),
        ("inventory:unit", "Schedule", "true"),
        ("inventory:library", "Library", "page"),
        ("inventory:library-entry", "Library", "true"),
        ("elsewhere", None, None),
    ],
)
def test_navigation_shows_where_one_is(
    view_name: str, label: str | None, current: str | None
) -> None:
    marked = [(i.label, i.current) for i in navigation(scope("see"), view_name) if i.current]
    assert marked == ([(label, current)] if label else [])


def test_places_ask_for_actions_that_exist() -> None:
    assert {place.action for place in PLACES if place.action} <= {action.value for action in Action}


def test_the_frame_names_project_person_and_role() -> None:
    asked = request("/p/alder/inventory/units/", scope("see"))
    markup = rendered("{% extends 'ui/page.html' %}", {"title": "Schedule"}, asked)
    assert "Alder &lt;Library&gt;" in markup
    assert "<Library>" not in markup
    assert "Robin Field" in markup
    assert "Office" in markup
    assert '<a class="skip" href="#main">' in markup
    assert 'aria-current="page">Schedule</a>' in markup
    assert "<title>Schedule · Alder &lt;Library&gt;</title>" in markup
    assert '"allowEval":false' in markup


def test_the_frame_costs_no_query(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        assert chrome(request())["units"] == "ip"
        rendered("{% extends 'ui/page.html' %}", {"title": "Home"}, request("/", scope("see")))


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_need_no_context_and_show_a_way_on(name: str) -> None:
    markup = render_to_string(name)
    assert 'href="/"' in markup
    assert re.search(r"<h1>[A-Z][^<]+</h1>", markup)


# --- forms ----------------------------------------------------------------------------------


class UnitForm(QuantityForm):
    maximum = QuantityField("airflow", label="Cooling maximum", help_text="From the schedule.")
    heat = forms.ChoiceField(label="Heat", choices=[("w", "Hot water")], widget=forms.RadioSelect)
    note = forms.CharField(label="Note", required=False)

    def clean(self) -> dict[str, Any]:
        raise forms.ValidationError("The setpoints contradict each other.")


def test_a_form_shows_unit_help_errors_and_what_was_typed() -> None:
    form = UnitForm({"maximum": '"><b>78o'}, system="ip")
    markup = rendered("{% include 'ui/form.html' %}", {"form": form})
    assert 'value="&quot;&gt;&lt;b&gt;78o"' in markup
    assert "<b>78o" not in markup
    assert '<a href="#id_maximum">Cooling maximum</a>' in markup
    assert 'id="id_maximum_error"' in markup
    assert 'id="id_maximum_helptext"' in markup
    assert 'aria-describedby="id_maximum_helptext id_maximum_error"' in markup
    assert "3 things need another look." in markup
    assert "The setpoints contradict each other." in markup
    assert 'name="csrfmiddlewaretoken"' in markup
    assert re.search(
        r"Cooling maximum<span class=\"u\"><span class=\"sr\">, in </span> cfm", markup
    )


def test_links_of_the_summary_lead_to_elements() -> None:
    markup = rendered("{% include 'ui/form.html' %}", {"form": UnitForm({}, system="ip")})
    for target in re.findall(r'<a href="#([^"]+)"', markup):
        assert f'id="{target}"' in markup


# --- findings, working ----------------------------------------------------------------------


def test_findings_say_what_and_what_next_with_mark_and_word() -> None:
    finding = Finding(
        "airflow.x",
        Severity.HOLDS,
        Subject("unit", 1, "TU-1"),
        "Short <of> air.",
        "Open the damper.",
    )
    source = "{% include 'ui/findings.html' with findings=found show_subject=True %}"
    markup = rendered(source, {"found": [finding]})
    assert "Short &lt;of&gt; air." in markup
    assert "Open the damper." in markup
    assert "holds turnover" in markup
    assert "<svg" in markup
    assert "TU-1" in markup
    assert "Nothing stands in the way." in rendered(source, {"found": []})


def test_working_shows_terms_in_the_readers_unit() -> None:
    step = Step("q = K · √Δp", (("q", 0.1651814, "airflow"), ("method", "traverse", "")))
    markup = rendered("{% include 'ui/working.html' %}", {"working": [step], "units": "ip"})
    assert "<i>q</i> = 350 cfm" in markup
    assert "<i>method</i> = traverse" in markup


def test_quantity_tag_never_prints_a_number_without_its_unit() -> None:
    source = "{% load ui %}{% quantity v 'airflow' %}"
    assert '165 <span class="u">L/s</span>' in rendered(source, {"v": 0.1651814, "units": "si"})
    assert "—" in rendered(source, {"v": None, "units": "si"})


def test_delta_and_mark_escape_their_words() -> None:
    markup = rendered("{% load ui %}{% mark 'done' w %}{% delta w w %}", {"w": "<b>"})
    assert "<b>" not in markup
