from __future__ import annotations

import pytest

from inventory.buying.models import Offer
from shop.trail.models import TrailRow
from tests.factories import buying as made
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db
GTIN = "4006381333931"


@pytest.fixture
def part(stores):
    return made_parts.part(stores, "FAS-704", "Screw M8x25")


@pytest.fixture
def seller(stores):
    return made.supplier(stores)


@pytest.fixture
def add(api, stores, part, seller):
    def post(**body):
        given = {"supplier_id": seller.pk, "part_id": part.pk, "prices": [{"from_packages": "1", "price": "12.50"}]}
        return api(stores).post("offers/", given | body)

    return post


def test_a_box_of_fifty_with_price_breaks(api, stores, add, part):
    made_ = add(
        number="TD-77", package="box", content="50", gtin=GTIN, min_packages="2", lead_days=4,
        prices=[{"from_packages": "10", "price": "11.00"}, {"from_packages": "1", "price": "12.50"}],
    )  # fmt: skip
    assert made_.status_code == 201, made_.content
    got = api(stores).get(f"offers/{made_.json()['id']}/").json()
    assert (got["per_package"], got["gtin"], got["currency"]) == ("50", "0" + GTIN, "EUR")
    assert [(p["from_packages"], p["price"]) for p in got["prices"]] == [("1", "12.50"), ("10", "11.00")]
    part.refresh_from_db()
    assert part.unit_fixed  # the box counts in it


def test_a_tube_in_litres_for_a_part_in_millilitres(add, api, stores, seller):
    tube = made_parts.sealant(stores)
    answer = add(part_id=tube.pk, package="tube", content="0.07", content_unit="LTR")
    assert answer.json()["per_package"] == "70"
    bad = add(part_id=tube.pk, content="1", content_unit="MTR")
    assert (bad.status_code, bad.json()["errors"][0]["pointer"]) == (400, "/content_unit")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"gtin": "4006381333930"}, "/gtin"),
        ({"gtin": "12"}, "/gtin"),
        ({"currency": "EUX"}, "/currency"),
        ({"content": "0"}, "/content"),
        ({"content": "2.5"}, "/content"),
        ({"min_packages": "1.5"}, "/min_packages"),
        ({"prices": [{"from_packages": "1", "price": "1"}, {"from_packages": "1", "price": "2"}]}, "/prices"),
        ({"prices": [{"from_packages": "1", "price": "-1"}]}, "/prices/0/price"),
        ({"lead_days": 999}, "/lead_days"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_bad_input_is_named_and_writes_nothing(add, body, pointer):
    answer = add(**body)
    assert answer.status_code == 400
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not Offer.objects.exists()


def test_a_gtin_names_one_part_in_one_package(add, stores, api):
    other = made_parts.part(stores, "FAS-705", "Screw M6x20", barcode=GTIN)
    taken = add(gtin=GTIN)
    assert taken.status_code == 400
    assert "FAS-705" in taken.json()["errors"][0]["detail"]
    assert add(part_id=other.pk, gtin=GTIN, content="50").status_code == 201
    elsewhere = made.supplier(stores, "Ostwick Factors")
    assert add(part_id=other.pk, supplier_id=elsewhere.pk, gtin=GTIN, content="50").status_code == 201
    third = made.supplier(stores, "Marram")
    differs = add(part_id=other.pk, supplier_id=third.pk, gtin=GTIN, content="60")
    assert "another content" in differs.json()["errors"][0]["detail"]


def test_a_suppliers_number_is_used_once(add, stores):
    assert add(number="TD-77").status_code == 201
    again = add(number="td-77", part_id=made_parts.part(stores, "X-1", "Other").pk)
    assert (again.status_code, again.json()["errors"][0]["pointer"]) == (400, "/number")
    assert add(number="TD-77", supplier_id=made.supplier(stores, "Ostwick Factors").pk).status_code == 201


def test_one_offer_of_a_part_is_preferred(add, api, stores):
    first, second = add(preferred=True).json(), add(preferred=True).json()
    assert second["preferred"]
    assert not api(stores).get(f"offers/{first['id']}/").json()["preferred"]


def test_edit_archive_and_take_back(add, api, stores, part):
    client, pk = api(stores), add(number="TD-77").json()["id"]
    old = client.get(f"offers/{pk}/")["ETag"]
    changed = client.patch(f"offers/{pk}/", {"prices": [{"from_packages": "1", "price": "13.00"}]})
    assert changed.json()["prices"] == [{"from_packages": "1", "price": "13.00"}]
    told = TrailRow.objects.get(verb="offer.changed").detail["changed"]["prices"]
    assert told == [[["1.000000", "12.500000"]], [["1.000000", "13.000000"]]]
    assert client.patch(f"offers/{pk}/", {"note": "x"}, etag=old).status_code == 412
    assert client.delete(f"offers/{pk}/").status_code == 204
    assert client.get("offers/", part_id=part.pk).json()["items"] == []
    assert add(number="TD-77").status_code == 201  # free again
    assert client.post(f"offers/{pk}/restore/").status_code == 400


def test_of_an_archived_part_nothing_is_offered(add, stores, part):
    from inventory.parts import actions as parts

    parts.archive_part(part.pk, None, by=stores)
    assert add().status_code == 409


def test_the_list_asks_as_often_for_many_as_for_few(api, stores, seller):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = api(stores)

    def count():
        with CaptureQueriesContext(connection) as asked:
            assert client.get("offers/").status_code == 200
        return len(asked)

    for n in range(3):
        made.offer(stores, made_parts.part(stores, f"A-{n}", "A"))
    few = count()
    for n in range(3, 9):
        made.offer(stores, made_parts.part(stores, f"A-{n}", "A"))
    assert count() == few
