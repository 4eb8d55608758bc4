"""Registry of panels: parts of a page that another concern owns and serves itself.

The page of a project, an air handler or a unit names no other app. It asks here, and the
browser fetches each panel from the address of the app that registered it; without scripts
the panel's heading is a link to the same address.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from django.urls import reverse

from projectsite.core.scope import Scope

Place = Literal["project", "air-handler", "unit"]


@dataclass(frozen=True, slots=True)
class Panel:
    """A panel of another concern.

    Attributes
    ----------
    title
        Heading over it.
    url_name
        Address that serves it. It takes ``project_key``, ``air_handler_id`` on the page of an
        air handler, and ``unit_id`` on the unit page.
    action
        What a person must be allowed to do in the project to get it.
    is_wide
        It takes the whole width of the page.
    order
        Panels stand in this order, then by title.
    """

    title: str
    url_name: str
    action: str = "see"
    is_wide: bool = False
    order: int = 100


@dataclass(frozen=True, slots=True)
class PanelLink:
    """A panel with the address to fetch it from."""

    title: str
    address: str
    is_wide: bool


_panels: dict[Place, list[Panel]] = {"project": [], "air-handler": [], "unit": []}


def register(place: Place, *panels: Panel) -> None:
    """Add panels to a page; registering the same one twice changes nothing."""
    for panel in panels:
        if panel not in _panels[place]:
            _panels[place].append(panel)


def links(place: Place, scope: Scope, **ids: int) -> list[PanelLink]:
    """Panels of a page that this person may see, with their addresses.

    Parameters
    ----------
    ids
        What the page is about, besides the project: ``air_handler_id`` or ``unit_id``.
    """
    shown = [panel for panel in _panels[place] if scope.allows(panel.action)]
    kwargs = {"project_key": scope.project.key, **ids}
    return [
        PanelLink(panel.title, reverse(panel.url_name, kwargs=kwargs), panel.is_wide)
        for panel in sorted(shown, key=lambda panel: (panel.order, panel.title))
    ]
