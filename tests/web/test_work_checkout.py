"""Pages and API of checkouts: saving a point, what is told, lists and their limits."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from projectsite.accounts.models import User
from tests.builders import Cast
from tests.builders.inventory import make_unit
from tests.builders.work_checkout import make_checkout, make_list, pass_all
from zones.work.models import Checkout, CheckoutPoint, CheckTemplatePoint, PunchItem

SignIn = Callable[[User], Client]
Recorder = Callable[[str], AbstractContextManager[None]]


@pytest.fixture
def checkout(cast: Cast) -> Checkout:
    unit = make_unit(cast.project, mac_address=7, device_instance=207, heat="electric")
    return make_checkout(cast.scope("office"), unit)


def point_of(checkout: Checkout, key: str) -> CheckoutPoint:
    return CheckoutPoint.objects.get(checkout=checkout, key=key)


def save(client: Client, cast: Cast, point: CheckoutPoint, **data: Any) -> Any:
    url = reverse("work:checkout-point", args=[cast.project.key, point.pk])
    return client.post(url, {"version": point.version, **data}, headers={"HX-Request": "true"})


def test_a_failing_point_is_told_with_its_item_and_a_pass_leaves_it(
    cast: Cast, sign_in: SignIn, checkout: Checkout
) -> None:
    client = sign_in(cast.controls)
    answer = save(client, cast, point_of(checkout, "supply-voltage"), observed="19,5").content
    item = PunchItem.objects.get()
    assert "19.5 V is outside 20.4 V to 28.8 V." in answer.decode()
    assert f"Punch item {item.number}" in answer.decode()
    answer = save(client, cast, point_of(checkout, "supply-voltage"), observed="24 V").content
    assert "whoever verifies the item closes it" in answer.decode()
    assert PunchItem.objects.get().state == "open"


def test_what_can_not_be_read_is_told_and_kept(
    cast: Cast, sign_in: SignIn, checkout: Checkout
) -> None:
    client = sign_in(cast.controls)
    point = point_of(checkout, "room-sensor")
    answer = save(client, cast, point, observed="72 V", reference="")
    assert answer.status_code == 422
    assert "“V” is not a unit of temperature" in answer.content.decode()
    assert 'value="72 V"' in answer.content.decode()
    assert save(client, cast, point, observed="72 °F").status_code == 200
    assert save(client, cast, point, observed="70 °F").status_code == 409
    assert point_of(checkout, "room-sensor").entered == {"observed": "72 °F"}


def test_page_cautions_and_is_read_by_all(
    cast: Cast, sign_in: SignIn, checkout: Checkout, recorded_queries: Recorder
) -> None:
    url = reverse("work:checkout", args=[cast.project.key, checkout.pk])
    client = sign_in(cast.owner)
    with recorded_queries("page: checkout"):
        page = client.get(url).content.decode()
    assert page.count("Work on energised parts is for licensed people") == 2
    assert "Expected: 20.4 V to 28.8 V" in page
    assert 'name="observed"' not in page
    assert 'inputmode="decimal"' in sign_in(cast.controls).get(url).content.decode()


def test_complete_and_copied_on(cast: Cast, sign_in: SignIn, checkout: Checkout) -> None:
    client, key = sign_in(cast.controls), cast.project.key
    url = reverse("work:checkout-complete", args=[key, checkout.pk])
    assert "Not complete yet: 24 V" in client.post(url, follow=True).content.decode()
    pass_all(cast.scope("controls"), checkout)
    other = make_unit(cast.project, "TU-2-2", heat="electric")
    answer = client.post(url, follow=True).content.decode()
    assert "The checkout is complete." in answer
    assert "Copy to the next box, TU-2-2" in answer
    client.post(reverse("work:checkout-copy", args=[key, checkout.pk, other.pk]))
    assert Checkout.objects.filter(unit=other).exists()


def test_list_is_filtered_and_exported(
    cast: Cast, sign_in: SignIn, checkout: Checkout, recorded_queries: Recorder
) -> None:
    make_unit(cast.project, "TU-5-1", floor="5")
    client = sign_in(cast.owner)
    url = reverse("work:checkouts", args=[cast.project.key])
    with recorded_queries("page: checkouts"):
        page = client.get(url).content.decode()
    assert "TU-5-1" in page
    assert "not begun" in page
    text = client.get(url, {"state": "in-hand", "format": "csv"}).content.decode()
    assert "TU-2-1" in text
    assert "TU-5-1" not in text
    assert checkout.pk


def test_limits_of_a_list_are_typed_with_units(cast: Cast, sign_in: SignIn) -> None:
    made = make_list(cast.scope("office"))
    point = CheckTemplatePoint.objects.get(template=made, key="room-sensor")
    url = reverse("work:checkout-list-point", args=[cast.project.key, made.pk, point.pk])
    client = sign_in(cast.office)
    assert 'value="0.9 °F"' in client.get(url).content.decode()
    typed = {
        "version": made.version,
        "name": point.name,
        "kind": "sensor",
        "quantity": "temperature",
        "tolerance_si": "1.8 °F",
        "owes": "controls",
    }
    assert client.post(url, typed).status_code == 302
    point.refresh_from_db()
    # 1.8 °F apart are exactly 1 K.
    assert point.tolerance_si == pytest.approx(1.0, rel=1e-12)
    answer = client.post(url, {**typed, "version": made.version + 1, "tolerance_si": "2 cfm"})
    assert answer.status_code == 422


def test_api_does_the_same(
    cast: Cast, api_as: Callable[[User], APIClient], checkout: Checkout
) -> None:
    client = api_as(cast.controls)
    point = point_of(checkout, "supply-voltage")
    url = reverse("work-api:checkout-observe", args=[cast.project.key, point.pk])
    bad = client.post(url, {"version": 1, "observed": "24 cfm"}, format="json")
    assert bad.status_code == 400
    assert "observed" in bad.content.decode()
    given = client.post(url, {"version": 1, "observed": "19.5 V"}, format="json").json()
    [sent] = [p for p in given["points"] if p["id"] == point.pk]
    assert (sent["verdict"], sent["observed_si"]) == ("fail", 19.5)
    assert sent["punch_item_ids"] == [PunchItem.objects.get().pk]
    assert given["state"] == "failing"
