"""Addresses of the photos and files."""

from __future__ import annotations

import uuid
from typing import Any

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_unit
from tests.web.matrix import Entry, api, page
from zones.inventory.models import AirHandler, TerminalUnit
from zones.work.models import Attachment
from zones.work.operations.files import add_file

# The file of the case was added by the installer: the installer's and the office's to change.
OWN = ("installer", "office")
TEXT = b"tag,flow\n"


def _unit(cast: Cast) -> TerminalUnit:
    found = TerminalUnit.objects.filter(project=cast.project, tag="TU-8-1").first()
    return found or make_unit(cast.project, "TU-8-1")


def _of_unit(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    return {"project_key": cast.project.key, "unit_id": _unit(cast).pk}


def _of_air_handler(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    found = AirHandler.objects.filter(project=cast.project, tag="AH-8").first()
    handler = found or make_air_handler(cast.project, "AH-8")
    return {"project_key": cast.project.key, "air_handler_id": handler.pk}


def _of_file(cast: Cast, user: User | None) -> dict[str, Any]:
    del user
    key = uuid.UUID(int=8)
    found = Attachment.objects.filter(client_key=key).values_list("id", flat=True).first()
    file_id = found or add_file(
        cast.scope("installer"),
        kind="unit",
        subject_id=_unit(cast).pk,
        content=TEXT,
        file_name="readings.csv",
        caption="",
        client_key=key,
        at=AT,
    )
    return {"project_key": cast.project.key, "file_id": file_id}


def _of_photo(cast: Cast, user: User | None) -> dict[str, Any]:
    """A file with a small copy; the case is about access, so the text stands for the picture."""
    arguments = _of_file(cast, user)
    row = Attachment.objects.get(id=arguments["file_id"])
    row.thumbnail = row.file.name
    row.save(update_fields=["thumbnail"])
    return arguments


def _nothing_yet(cast: Cast) -> dict[str, Any]:
    return {"kind": "unit", "subject": _unit(cast).pk}


ENTRIES = [
    Entry("work:files", page()),
    Entry("work:file-add", page(302), "POST", data=_nothing_yet),
    Entry("work:file", page(), arguments=_of_file),
    Entry("work:file-thumbnail", page(), arguments=_of_photo),
    Entry("work:file-caption", page(302, to=OWN), "POST", _of_file, {"caption": "A hanger"}),
    Entry("work:file-archive", page(302, to=OWN), "POST", _of_file),
    Entry("work:file-restore", page(302, to=OWN), "POST", _of_file),
    Entry("work:unit-files-panel", page(), arguments=_of_unit),
    Entry("work:air-handler-files-panel", page(), arguments=_of_air_handler),
    Entry("work-api:file-list", api()),
    # Without a file everyone who may add one is told that it is missing.
    Entry("work-api:file-list", api(400), "POST"),
    Entry("work-api:file-detail", api(), arguments=_of_file),
    Entry("work-api:file-detail", api(to=OWN), "PATCH", _of_file, {"caption": "A hanger"}),
    Entry("work-api:file-archive", api(to=OWN), "POST", _of_file),
    Entry("work-api:file-restore", api(to=OWN), "POST", _of_file),
    Entry("work-api:file-content", api(), arguments=_of_file),
]
