"""Photos and files: what the database refuses, and what adding and archiving do."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.db.utils import IntegrityError

from projectsite.core.errors import ApplicationError, Conflict, Forbidden, InvalidInput, NotFound
from tests.builders import Cast
from tests.builders.accounts import AT
from tests.builders.inventory import make_air_handler, make_outlet, make_unit
from tests.builders.work import make_step
from tests.builders.work_files import a_photo, make_file
from zones.inventory.models import TerminalUnit
from zones.work.models import Attachment, Checkout, CheckoutPoint, PunchItem
from zones.work.operations import files as operations
from zones.work.queries import files as queries

KEY = uuid.UUID(int=7)


@pytest.fixture(autouse=True)
def store(settings: Any, tmp_path: Path) -> Path:
    """A store of the test's own."""
    files = {"BACKEND": "django.core.files.storage.FileSystemStorage"}
    settings.STORAGES = {**settings.STORAGES, "default": files}
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


@pytest.fixture
def unit(cast: Cast) -> TerminalUnit:
    return make_unit(cast.project, "TU-2-1", floor="2", air_handler=make_air_handler(cast.project))


def stored(store: Path) -> list[Path]:
    """Every file in the store."""
    return [found for found in store.rglob("*") if found.is_file()]


def item_about(cast: Cast, unit: TerminalUnit) -> PunchItem:
    return PunchItem.objects.create(
        project_id=unit.project_id,
        unit=unit,
        number=1,
        trade="mechanical",
        text="Hanger missing",
        opener_role="office",
        opened_by=cast.office,
        opened_at=AT,
        client_key=uuid.uuid4(),
    )


def point_of(cast: Cast, unit: TerminalUnit) -> CheckoutPoint:
    checkout = Checkout.objects.create(
        project_id=unit.project_id,
        unit=unit,
        template_name="All",
        begun_by=cast.controls,
        begun_at=AT,
    )
    return CheckoutPoint.objects.create(
        project_id=unit.project_id,
        checkout=checkout,
        position=1,
        key="stroke",
        name="Damper stroke",
        kind="confirm",
    )


BROKEN = [
    ("unit_id = null", "attachment_one_subject"),
    ("trunk_id = 7", "attachment_one_subject"),
    ("kind = 'film'", "attachment_kind_known"),
    ("kind = 'photo'", "attachment_photo_has_size"),
    ("latitude_deg = 90.1, longitude_deg = 0", "attachment_position_range"),
    ("latitude_deg = 0, longitude_deg = -180.1", "attachment_position_range"),
    ("latitude_deg = 10, longitude_deg = null", "attachment_position_range"),
    ("unit_id = {stranger}", "attachment_unit_same_project"),
    ("step_id = {step}", "attachment_step_same_project"),
    ("punch_item_id = {item}", "attachment_punch_item_same_project"),
    ("checkout_point_id = {point}", "attachment_checkout_point_same_project"),
    ("unit_id = null, outlet_id = {outlet}", "attachment_outlet_same_project"),
    ("unit_id = null, air_handler_id = {handler}", "attachment_air_handler_same_project"),
]


@pytest.mark.parametrize(("changes", "constraint"), BROKEN)
def test_the_database_refuses(
    cast: Cast, unit: TerminalUnit, changes: str, constraint: str
) -> None:
    make_file(cast.scope(), unit)
    other = make_unit(cast.other_project, "TU-9")
    ids = {
        "stranger": other.pk,
        "step": make_step(cast.other_project).pk,
        "item": item_about(cast, other).pk,
        "point": point_of(cast, other).pk,
        "outlet": make_outlet(other).pk,
        "handler": make_air_handler(cast.other_project).pk,
    }
    change = f"update work_attachment set {changes.format(**ids)}; set constraints all immediate"
    with (
        pytest.raises(IntegrityError, match=constraint),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(change)


def test_a_key_is_used_once(cast: Cast, unit: TerminalUnit) -> None:
    first, second = make_file(cast.scope(), unit), make_file(cast.scope(), unit)
    with (
        pytest.raises(IntegrityError, match="client_key"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "update work_attachment set client_key = %s where id = %s",
            [first.client_key, second.pk],
        )


def test_a_photo_is_kept_upright_with_its_facts_beside_it(cast: Cast, unit: TerminalUnit) -> None:
    row = make_file(
        cast.scope("installer"), unit, content=a_photo(), file_name="C:\\pictures\\box.jpg"
    )
    assert (row.kind, row.width_px, row.height_px) == ("photo", 32, 48)
    assert (row.latitude_deg, row.longitude_deg) == pytest.approx((39.7425, -104.9875))
    # A camera without a time zone is on the project's time: Denver is 7 h behind in November.
    assert row.taken_at == datetime(2026, 11, 25, 21, 5, tzinfo=UTC)
    assert row.file_name == "box.jpg"
    name, small_name = str(row.file.name), str(row.thumbnail.name)
    assert name.startswith("work/2026/11/")
    assert "box" not in name
    with default_storage.open(name) as file, default_storage.open(small_name) as t:
        content, small = file.read(), t.read()
    assert len(content) == row.size
    assert b"Exif" not in content
    assert small.startswith(b"\xff\xd8")


def test_the_same_key_gives_the_same_file(cast: Cast, unit: TerminalUnit, store: Path) -> None:
    scope = cast.scope("installer")
    first = make_file(scope, unit, client_key=KEY)
    again = make_file(scope, unit, client_key=KEY, content=b"something else")
    assert first.pk == again.pk
    assert len(stored(store)) == 1
    foreign = make_unit(cast.other_project, "TU-9")
    with pytest.raises(Conflict, match="another file"):
        make_file(cast.stranger_scope(), foreign, client_key=KEY)


def test_the_second_of_two_at_once_gives_the_first(
    cast: Cast, unit: TerminalUnit, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = make_file(cast.scope(), unit, client_key=KEY)
    looked = operations._known
    early = [None]

    def known(*given: Any) -> int | None:
        return early.pop() if early else looked(*given)

    monkeypatch.setattr(operations, "_known", known)
    assert make_file(cast.scope(), unit, client_key=KEY).pk == first.pk
    assert early == []
    assert len(stored(store)) == 1


def test_a_failed_transaction_leaves_no_file(
    cast: Cast, unit: TerminalUnit, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []

    def fails(*args: Any, **kwargs: Any) -> None:
        seen.append(len(stored(store)))
        raise RuntimeError("the disk of the database is full")

    monkeypatch.setattr(Attachment, "save", fails)
    with pytest.raises(RuntimeError):
        make_file(cast.scope(), unit, content=a_photo())
    assert seen == [2]
    assert stored(store) == []


def test_links_agree_with_the_subject(cast: Cast, unit: TerminalUnit, store: Path) -> None:
    scope = cast.scope()
    other = make_unit(cast.project, "TU-2-2")
    item, point, step = item_about(cast, unit), point_of(cast, unit), make_step(cast.project)
    links = {"punch_item_id": item.pk, "checkout_point_id": point.pk, "step_id": step.pk}
    row = make_file(scope, unit, **links)
    assert queries.files_of_item(scope, item.pk)[0].id == row.pk
    assert queries.files_of_points(scope, [point.pk])[point.pk][0].checkout_point == point.name
    # A photo of an outlet belongs to an item about its unit as well.
    outlet = make_outlet(unit)
    make_file(scope, unit, kind="outlet", subject_id=outlet.pk, punch_item_id=item.pk)
    assert queries.counts_by_unit(scope) == {unit.pk: 2}
    assert len(queries.files_of(scope, "unit", unit.pk)) == 2
    foreign = make_step(cast.other_project)
    kept = len(stored(store))
    refused: list[tuple[dict[str, Any], type[ApplicationError]]] = [
        ({"subject_id": other.pk, "punch_item_id": item.pk}, InvalidInput),
        ({"subject_id": other.pk, "checkout_point_id": point.pk}, InvalidInput),
        ({"step_id": foreign.pk}, NotFound),
        ({"punch_item_id": 0}, NotFound),
        ({"checkout_point_id": 0}, NotFound),
        ({"subject_id": make_unit(cast.other_project, "TU-9").pk}, NotFound),
        ({"kind": "roof"}, InvalidInput),
    ]
    for changes, error in refused:
        with pytest.raises(error):
            make_file(scope, unit, **changes)
    assert len(stored(store)) == kept


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"content": b""}, "empty"),
        ({"content": b"MZ\x90\0"}, "not kept"),
        ({"content": b"\0\0\0\x18ftypheic" + bytes(9)}, "HEIC"),
        ({"content": b"a" * (operations.MAX_FILE_BYTES + 1)}, "25 MB"),
        ({"caption": "a" * 201}, "200 characters"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_words(
    cast: Cast, unit: TerminalUnit, store: Path, changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(InvalidInput, match=words):
        make_file(cast.scope(), unit, **changes)
    assert stored(store) == []


def test_only_who_added_it_and_the_office_change_a_file(cast: Cast, unit: TerminalUnit) -> None:
    row = make_file(cast.scope("installer"), unit)
    with pytest.raises(Forbidden):
        operations.archive_file(cast.scope("controls"), file_id=row.pk, at=AT)
    with pytest.raises(NotFound):
        operations.archive_file(cast.stranger_scope(), file_id=row.pk, at=AT)
    operations.change_caption(cast.scope("installer"), file_id=row.pk, caption=" North\n hanger ")
    operations.archive_file(cast.scope("office"), file_id=row.pk, at=AT)
    scope = cast.scope()
    assert queries.count_files(scope, queries.FileFilter()) == 0
    archived = queries.file_rows(scope, queries.FileFilter(archived=True))
    assert [(one.caption, one.archived_at) for one in archived] == [("North hanger", AT)]
    operations.restore_file(cast.scope("installer"), file_id=row.pk)
    assert queries.count_files(scope, queries.FileFilter()) == 1


def test_the_list_is_narrowed_and_ordered(cast: Cast, unit: TerminalUnit) -> None:
    scope = cast.scope()
    above = make_unit(cast.project, "TU-10-1", floor="10")
    make_file(cast.scope("installer"), unit, content=a_photo(), file_name="b.jpg", caption="Tap")
    make_file(scope, above, file_name="a.csv")
    make_file(
        scope, unit, kind="air-handler", subject_id=unit.air_handler_id, file_name="handler.csv"
    )

    def names(sort: str = "name", **wanted: Any) -> list[str]:
        found = queries.FileFilter(**wanted)
        rows = queries.file_rows(scope, found, sort=sort)
        assert queries.count_files(scope, found) == len(rows)
        return [row.file_name for row in rows]

    assert names() == ["a.csv", "b.jpg", "handler.csv"]
    assert names("-name") == ["handler.csv", "b.jpg", "a.csv"]
    assert names("taken")[0] == "b.jpg"
    assert names(floor="2") == ["b.jpg"]
    assert names(air_handler=unit.air_handler_id) == ["b.jpg", "handler.csv"]
    assert names(kind="photo") == ["b.jpg"]
    assert names(person=cast.installer.pk) == ["b.jpg"]
    assert names(text="tu-10") == ["a.csv"]
    assert names(text="TAP") == ["b.jpg"]
    assert queries.people_with_files(scope) == [
        (cast.installer.pk, cast.installer.full_name),
        (cast.office.pk, cast.office.full_name),
    ]
