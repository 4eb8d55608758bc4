"""Addresses of schedule imports."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.imports import apply, preview, schedule
from tests.web.matrix import OFFICE, Entry, api, page
from zones.inventory.imports import work
from zones.inventory.models import ScheduleImport
from zones.inventory.queries import imports as queries

ROW = ["TU-M", "AH-M", 350, 100]


def previewed(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an import in preview."""
    del user
    found = ScheduleImport.objects.filter(project=cast.project, state="preview").first()
    import_id = found.pk if found else preview(cast.scope(), schedule(ROW)).id
    return {"project_key": cast.project.key, "import_id": import_id}


def received(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments that name an import whose columns are to be mapped."""
    del user
    found = ScheduleImport.objects.filter(project=cast.project, state="uploaded").first()
    import_id = found.pk if found else _receive(cast)
    return {"project_key": cast.project.key, "import_id": import_id}


def _receive(cast: Cast) -> int:
    return work.receive(cast.scope(), name="s.xlsx", content=schedule(ROW), target="units", at=AT)


def two_revisions(cast: Cast, user: User | None) -> dict[str, Any]:
    """Arguments of a project with two revisions."""
    del user
    while queries.revisions(cast.scope())[1:] == []:
        number = len(queries.revisions(cast.scope()))
        apply(cast.scope(), preview(cast.scope(), schedule(["TU-R", None, 300 + number, 100])))
    return {"project_key": cast.project.key}


def upload(cast: Cast) -> dict[str, Any]:
    """A form with a schedule."""
    del cast
    return {"file": SimpleUploadedFile("s.xlsx", schedule(ROW)), "target": "units"}


def layout_form(cast: Cast) -> dict[str, Any]:
    """The rows as they were found."""
    del cast
    return {
        "sheet": "VAV",
        "heading_row": 1,
        "heading_end_row": 1,
        "units_row": 2,
        "first_row": 3,
        "last_row": 3,
    }


def _version(cast: Cast, state: str) -> int:
    found = ScheduleImport.objects.filter(project=cast.project, state=state).first()
    return found.version if found else 0


def preview_version(cast: Cast) -> dict[str, Any]:
    """Version of the import in preview."""
    return {"version": _version(cast, "preview")}


def mapping(cast: Cast) -> dict[str, Any]:
    """A mapping of two columns."""
    return {
        "version": _version(cast, "uploaded"),
        "columns": [
            {"column": 0, "field": "tag"},
            {"column": 2, "field": "cooling_max_m3_s", "unit": "cfm"},
        ],
    }


ENTRIES = [
    Entry("inventory:imports", page()),
    Entry("inventory:import-new", page(to=OFFICE)),
    Entry("inventory:import-new", page(302, to=OFFICE), "POST", data=upload),
    Entry("inventory:import-compare", page(), arguments=two_revisions),
    Entry("inventory:import", page(), arguments=previewed),
    Entry("inventory:import-mapping", page(to=OFFICE), arguments=received),
    Entry("inventory:import-mapping", page(422, to=OFFICE), "POST", arguments=received),
    Entry("inventory:import-layout", page(302, to=OFFICE), "POST", received, layout_form),
    Entry("inventory:import-work", page(), arguments=previewed),
    Entry("inventory:import-stop", page(302, to=OFFICE), "POST", previewed),
    Entry("inventory:import-apply", page(302, to=OFFICE), "POST", previewed, preview_version),
    Entry("inventory:import-drop", page(to=OFFICE), arguments=previewed),
    Entry("inventory:import-drop", page(302, to=OFFICE), "POST", previewed),
    Entry("inventory:import-file", page(to=OFFICE), arguments=previewed),
    Entry("inventory-api:imports", api()),
    Entry("inventory-api:imports", api(400, to=OFFICE), "POST"),
    Entry("inventory-api:import-compare", api(400)),
    Entry("inventory-api:import", api(), arguments=previewed),
    Entry("inventory-api:import-layout", api(to=OFFICE), "POST", received),
    Entry("inventory-api:import-mapping", api(to=OFFICE), "POST", received, mapping),
    Entry("inventory-api:import-rows", api(), arguments=previewed),
    Entry("inventory-api:import-missing", api(), arguments=previewed),
    Entry("inventory-api:import-apply", api(to=OFFICE), "POST", previewed, preview_version),
    Entry("inventory-api:import-drop", api(to=OFFICE), "POST", previewed, preview_version),
    Entry("inventory-api:import-stop", api(to=OFFICE), "POST", previewed),
    Entry("inventory-api:import-file", api(to=OFFICE), arguments=previewed),
]
