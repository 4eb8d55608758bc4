"""What the frame of every page needs: navigation, reader's units, person. Never a query."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, get_urlconf, reverse
from django.utils.safestring import SafeString, mark_safe

from projectsite.core.scope import Scope

ROLE_WORDS = {
    "office": "Office",
    "controls": "Controls technician",
    "balancer": "Balancer",
    "installer": "Installer",
    "owner": "Owner’s representative",
}


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the navigation: its page, the action it needs, and the pages that belong to it."""

    label: str
    url_name: str
    action: str = ""
    covers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NavItem:
    """A link of the navigation; ``current`` is "page", "true" (a page below it) or ""."""

    label: str
    address: str
    current: str


PLACES = (
    Place("Home", "home"),
    Place("Project", "accounts:project"),
    Place("Schedule", "inventory:units", covers=("inventory:",)),
    Place("Work", "work:grid", covers=("work:",)),
    Place("Punch list", "work:punch", covers=("work:punch",)),
    Place("Airflow", "airflow:tests", "see-tests", covers=("airflow:",)),
    Place("Documents", "reports:documents", covers=("reports:",)),
    Place("Library", "inventory:library", covers=("inventory:library",)),
    Place("People", "accounts:people", "manage-people"),
    Place("Settings", "accounts:settings", "edit-project"),
    Place("Calculators", "calculators", covers=("calculator",)),
)
"""In the order of the strip. A place that this site does not have, or that the role may not
see, is left out."""


def _urlconf() -> str:
    return get_urlconf() or settings.ROOT_URLCONF


@lru_cache(maxsize=4096)
def _address(urlconf: str, url_name: str, project_key: str) -> str:
    """Address of a page of the project, or of the site; "" when there is none."""
    if project_key:
        try:
            return reverse(url_name, urlconf, kwargs={"project_key": project_key})
        except NoReverseMatch:
            pass
    try:
        return reverse(url_name, urlconf)
    except NoReverseMatch:
        return ""


def address_of(url_name: str, project_key: str = "") -> str:
    """Address of a page of the project, or of the site; "" when this site does not have it."""
    return _address(_urlconf(), url_name, project_key)


def _nearest(view_name: str) -> str:
    """Name of the place that a page belongs to: the one with the longest matching beginning."""
    matches = [
        (len(start), place.url_name)
        for place in PLACES
        for start in (place.url_name, *place.covers)
        if view_name == start or (start in place.covers and view_name.startswith(start))
    ]
    return max(matches)[1] if matches else ""


def navigation(scope: Scope | None, view_name: str) -> list[NavItem]:
    """Places that exist and that the person may see."""
    urlconf = _urlconf()
    key = scope.project.key if scope else ""
    return _places(urlconf, key, scope.actions if scope else None, view_name)


def _places(
    urlconf: str, key: str, actions: frozenset[str] | None, view_name: str
) -> list[NavItem]:
    nearest = _nearest(view_name)
    items = []
    for place in PLACES:
        if place.action and (actions is None or place.action not in actions):
            continue
        address = _address(urlconf, place.url_name, key)
        if not address:
            continue
        is_here = place.url_name == nearest
        current = ("page" if view_name == place.url_name else "true") if is_here else ""
        items.append(NavItem(place.label, address, current))
    return items


@lru_cache(maxsize=4096)
def _links(urlconf: str, key: str, actions: frozenset[str] | None, view_name: str) -> SafeString:
    """Navigation as it stands on the page; the same for everyone of a role on a kind of page."""
    links = []
    for item in _places(urlconf, key, actions, view_name):
        current = f' aria-current="{item.current}"' if item.current else ""
        links.append(f'<li><a href="{escape(item.address)}"{current}>{escape(item.label)}</a></li>')
    return mark_safe("".join(links))  # noqa: S308  # escaped above


def _project_cell(urlconf: str, scope: Scope | None) -> SafeString:
    """Name of the project at the left of the strip, or of the program outside a project."""
    if scope is None:
        above, name, address = "Record of terminal units", "Plenum Ledger", _home(urlconf)
    else:
        above = f"Project {scope.project.number}" if scope.project.number else "Project"
        name, address = scope.project.name, _address(urlconf, "accounts:project", scope.project.key)
    named = f'<a href="{escape(address)}">{escape(name)}</a>' if address else escape(name)
    return mark_safe(f"<small>{escape(above)}</small> <b>{named}</b>")  # noqa: S308  # escaped


def _home(urlconf: str) -> str:
    return _address(urlconf, "home", "") or "/"


def _foot(scope: Scope | None) -> SafeString:
    if scope is None:
        return mark_safe("")
    system = "SI units" if scope.system == "si" else "Inch-pound units"
    zone = escape(scope.project.time_zone)
    return mark_safe(f"<span>{system}</span> <span>Times in {zone}</span>")  # noqa: S308  # escaped


def chrome(request: HttpRequest) -> dict[str, Any]:
    """Context of the frame; lazy, so that fragments and bare error pages do not pay for it."""
    scope: Scope | None = getattr(request, "scope", None)
    match = request.resolver_match
    view_name = match.view_name if match else ""
    urlconf = _urlconf()
    key = scope.project.key if scope else ""
    return {
        "scope": scope,
        "units": scope.system if scope else "ip",
        "role_word": ROLE_WORDS.get(scope.role, scope.role) if scope else "",
        "project_cell": lambda: _project_cell(urlconf, scope),
        "nav_links": lambda: (
            _links(urlconf, key, scope.actions if scope else None, view_name)
            if request.user.is_authenticated
            else ""
        ),
        "frame_foot": lambda: _foot(scope),
        "home_address": lambda: _home(urlconf),
        "project_address": lambda: _address(urlconf, "accounts:project", key) if key else "",
        "sign_out_address": lambda: _address(urlconf, "accounts:sign-out", ""),
        "account_address": lambda: _address(urlconf, "accounts:account", ""),
        "project_zone": scope.project.time_zone if scope else "",
    }
