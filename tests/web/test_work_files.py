"""Pages, panels and API of the photos and files, and how the files themselves are given."""

from __future__ import annotations

import csv
import uuid
from collections.abc import Callable
from contextlib import AbstractContextManager
from io import StringIO
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_air_handler, make_unit
from tests.builders.work_files import a_photo, make_file
from zones.inventory.models import TerminalUnit
from zones.work.models import Attachment

SignIn = Callable[[User], Client]
ApiAs = Callable[[User], APIClient]
Recorder = Callable[[str], AbstractContextManager[None]]


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project, "TU-2-1", floor="2", air_handler=make_air_handler(cast.project))


def at(cast: Cast, name: str, *args: Any) -> str:
    return reverse(f"work:{name}", args=[cast.project.key, *args])


def text_of(response: Any) -> str:
    found: str = response.content.decode()
    return found


def test_several_files_are_added_at_once_and_each_refusal_is_told(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn
) -> None:
    client = sign_in(cast.installer)
    sent = [
        SimpleUploadedFile("box.jpg", a_photo(), "image/jpeg"),
        SimpleUploadedFile("page.jpg", b"<html><script>alert(1)</script>", "image/jpeg"),
        SimpleUploadedFile("film.heic", b"\0\0\0\x18ftypheic" + bytes(9), "image/heic"),
    ]
    key = uuid.uuid4()
    for _ in range(2):  # Sent again after a lost answer.
        for file in sent:
            file.seek(0)
        response = client.post(
            at(cast, "file-add"),
            {
                "kind": "unit",
                "subject": unit.pk,
                "caption": "North hanger",
                "client_key": key,
                "next": at(cast, "unit-files-panel", unit.pk),
                "file": sent,
            },
            follow=True,
        )
    shown = text_of(response)
    assert "page.jpg: Files of this kind are not kept." in shown
    assert "film.heic: This photo is in the HEIC format." in shown
    assert "1 file added." in shown
    row = Attachment.objects.get()
    assert (row.file_name, row.caption, row.unit_id) == ("box.jpg", "North hanger", unit.pk)
    assert at(cast, "file-thumbnail", row.pk) in shown


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Choose a photo or a file first."),
        ({"kind": "roof"}, "Kind:"),
        ({"subject": ""}, "Subject: This field is required."),
        ({"next": "//elsewhere.example/"}, "Choose a photo"),
    ],
)
def test_a_form_that_says_too_little_is_told(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn, changes: dict[str, Any], words: str
) -> None:
    data = {"kind": "unit", "subject": unit.pk} | changes
    response = sign_in(cast.installer).post(at(cast, "file-add"), data, follow=True)
    assert response.redirect_chain == [(at(cast, "files"), 302)]
    assert words in text_of(response)


def test_pictures_are_shown_and_everything_else_is_saved(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn
) -> None:
    scope, client = cast.scope("installer"), sign_in(cast.owner)
    photo = make_file(scope, unit, content=a_photo(), file_name="x.html")
    text = make_file(
        scope, unit, content=b"a <script>alert(1)</script>", file_name='a";\r\nX: y.html'
    )
    shown = client.get(at(cast, "file", photo.pk))
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Content-Disposition"].startswith("inline")
    saved = client.get(at(cast, "file", text.pk))
    assert saved["Content-Type"] == "text/plain; charset=utf-8"
    assert saved["Content-Disposition"].startswith("attachment")
    for response in (shown, saved, client.get(at(cast, "file-thumbnail", photo.pk))):
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["Cache-Control"].startswith("private")
    assert client.get(at(cast, "file-thumbnail", text.pk)).status_code == 404


def test_a_file_of_another_project_is_not_there(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn, api_as: ApiAs
) -> None:
    foreign = make_file(cast.stranger_scope(), make_unit(cast.other_project, "TU-9"))
    mine = make_file(cast.scope(), unit)
    client = sign_in(cast.office)
    assert client.get(at(cast, "file", mine.pk)).status_code == 200
    for name in ("file", "file-thumbnail"):
        assert client.get(at(cast, name, foreign.pk)).status_code == 404
    address = reverse("work-api:file-content", args=[cast.project.key, foreign.pk])
    assert api_as(cast.office).get(address).status_code == 404
    default_storage.delete(str(mine.file.name))
    gone = client.get(at(cast, "file", mine.pk))
    assert (gone.status_code, "missing from the store" in text_of(gone)) == (404, True)


def test_the_list_shows_what_the_address_asks_for(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn, recorded_queries: Recorder
) -> None:
    client = sign_in(cast.office)
    assert "No photos or files yet." in text_of(client.get(at(cast, "files")))
    above = make_unit(cast.project, "TU-10-1", floor="10")
    for n in range(3):
        make_file(cast.scope("installer"), unit, caption=f"Reading {n}")
    make_file(cast.scope(), above, file_name="=cmd.csv", caption="<b>Bold</b>")
    with recorded_queries("work files"):
        page = text_of(client.get(at(cast, "files")))
    assert "&lt;b&gt;Bold&lt;/b&gt;" in page
    assert page.count("Reading ") >= 3
    narrowed = text_of(client.get(at(cast, "files"), {"floor": "10"}))
    assert ("TU-10-1" in narrowed, "Reading 0" in narrowed) == (True, False)
    assert "Nothing matches." in text_of(client.get(at(cast, "files"), {"text": "nowhere"}))
    export = client.get(at(cast, "files"), {"floor": "10", "format": "csv"})
    rows = list(csv.DictReader(StringIO(export.content.decode("utf-8-sig"))))
    assert [(row["About"], row["Caption"]) for row in rows] == [("TU-10-1", "<b>Bold</b>")]
    with recorded_queries("work unit files panel"):
        panel = client.get(at(cast, "unit-files-panel", unit.pk), headers={"HX-Request": "true"})
    assert "<h1>" not in text_of(panel)
    assert text_of(panel).count('class="shot"') == 3


def test_only_own_files_can_be_changed_on_the_page(
    cast: Cast, unit: TerminalUnit, sign_in: SignIn
) -> None:
    row = make_file(cast.scope("installer"), unit)
    address = at(cast, "file-archive", row.pk)
    assert address not in text_of(sign_in(cast.controls).get(at(cast, "files")))
    assert address in text_of(sign_in(cast.installer).get(at(cast, "files")))
    long = sign_in(cast.installer).post(
        at(cast, "file-caption", row.pk), {"caption": "a" * 201}, follow=True
    )
    assert "At most 200 characters." in text_of(long)


def test_the_api_does_what_the_pages_do(cast: Cast, unit: TerminalUnit, api_as: ApiAs) -> None:
    client = api_as(cast.installer)
    files = reverse("work-api:file-list", args=[cast.project.key])
    given = {"kind": "unit", "subject_id": unit.pk, "client_key": str(uuid.uuid4())}
    made = [
        client.post(
            files,
            {**given, "file": SimpleUploadedFile("box.jpg", a_photo())},
            format="multipart",
        )
        for _ in range(2)
    ]
    assert [answer.status_code for answer in made] == [201, 201]
    first = made[0].json()
    assert made[1].json() == first
    assert (first["file_kind"], first["width_px"], first["subject"]) == ("photo", 32, "TU-2-1")
    assert first["taken_at"].startswith("2026-11-25T")
    one = reverse("work-api:file-detail", args=[cast.project.key, first["id"]])
    assert client.patch(one, {"caption": "Hanger"}).json()["caption"] == "Hanger"
    content: Any = client.get(
        reverse("work-api:file-content", args=[cast.project.key, first["id"]])
    )
    assert content["Content-Disposition"].startswith("attachment")
    assert len(b"".join(content.streaming_content)) == first["size"]
    assert client.get(files, {"text": "hang"}).json()["count"] == 1
    archive = reverse("work-api:file-archive", args=[cast.project.key, first["id"]])
    assert client.post(archive).json()["archived_at"]
    assert client.get(files).json()["count"] == 0
    assert client.get(files, {"archived": "true"}).json()["results"][0]["id"] == first["id"]
    refused = client.post(
        files,
        {
            **given,
            "client_key": str(uuid.uuid4()),
            "file": SimpleUploadedFile("a.exe", b"MZ\x90\0"),
        },
        format="multipart",
    )
    assert (refused.status_code, "not kept" in text_of(refused)) == (400, True)
    for query in ({"sort": "colour"}, {"person": "x"}, {"archived": "maybe"}, {"file_kind": "f"}):
        assert client.get(files, query).status_code == 400
