from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock import actions, ledger
from inventory.stock.models import Movement
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(api, stores):
    return api(stores)


def receive(client, part, shelf, quantity="5", **more):
    body = {"part_id": part.pk, "bin_id": shelf.pk, "quantity": quantity, "unit_cost": "4.20"} | more
    return client.post("lots/", body)


def test_from_receipt_to_scrap(client, gasket, shelf, site):
    bin_ = client.post("bins/", {"site_id": site.pk, "code": "T12", "kind": "tray"})
    assert bin_.status_code == 201, bin_.content
    tray = bin_.json()["id"]
    lot = receive(client, gasket, shelf, batch="K7")
    assert lot.status_code == 201, lot.content
    pk = lot.json()["id"]
    assert (lot.json()["unit_cost"], lot.json()["batch"]) == ("4.20", "K7")
    moved = client.post(f"lots/{pk}/transfer/", {"from_bin_id": shelf.pk, "to_bin_id": tray, "quantity": "2"})
    assert [m["quantity"] for m in moved.json()["movements"]] == ["-2", "2"]
    count = {"bin_id": shelf.pk, "counted": "3"}
    assert client.post(f"lots/{pk}/count/", count).json() == {"movement": None}
    wrong = client.post(f"lots/{pk}/count/", count | {"counted": "2"})
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/reason")
    counted = client.post(f"lots/{pk}/count/", count | {"counted": "2", "reason": "one too few"})
    assert counted.json()["movement"]["value"] == "-4.20"
    scrapped = client.post(f"lots/{pk}/scrap/", {"bin_id": tray, "quantity": "1", "reason": "creased"})
    assert scrapped.json()["kind"] == "scrap"
    stock = client.get("stock/", part_id=gasket.pk).json()["items"][0]
    assert (stock["on_hand"], stock["free"], stock["worth"]) == ("3", "3", "12.60")
    places = client.get("places/", part_id=gasket.pk).json()["items"]
    assert {p["bin_code"]: p["on_hand"] for p in places} == {"A3-02": "2", "T12": "1"}
    kinds = [m["kind"] for m in client.get("movements/", part_id=gasket.pk, order="oldest").json()["items"]]
    assert kinds == ["receipt", "transfer", "transfer", "count", "scrap"]
    assert client.delete(f"bins/{tray}/").status_code == 409
    assert list(ledger.wrong()) == []


def test_a_retry_of_a_posting_happens_once(client, gasket, shelf):
    body = {"part_id": gasket.pk, "bin_id": shelf.pk, "quantity": "5", "unit_cost": "4.20"}
    answers = [client.post("lots/", body, key="d7b1-9f00") for _ in range(3)]
    assert [a.status_code for a in answers] == [201] * 3
    assert len({a.content for a in answers}) == 1
    assert Movement.objects.count() == 1
    scrap = {"bin_id": shelf.pk, "quantity": "5", "reason": "damp"}
    pk = answers[0].json()["id"]
    first = client.post(f"lots/{pk}/scrap/", scrap, key="d7b1-9f01")
    again = client.post(f"lots/{pk}/scrap/", scrap, key="d7b1-9f01")
    assert (first.status_code, again.status_code, first.content) == (200, 200, again.content)
    assert client.post(f"lots/{pk}/scrap/", scrap).status_code == 409


def test_keeping_and_freeing(client, gasket, shelf, site, stores):
    receive(client, gasket, shelf)
    body = {"part_id": gasket.pk, "site_id": site.pk, "quantity": "4", "label": "card 26-0031"}
    kept = client.post("reservations/", body)
    assert kept.status_code == 201, kept.content
    assert client.get("stock/").json()["items"][0]["free"] == "1"
    refused = client.post("reservations/", body)
    assert refused.status_code == 409
    assert refused.json()["facts"]["free"] == "1"
    assert "card 26-0031" in refused.json()["detail"]
    pk = kept.json()["id"]
    assert client.post(f"reservations/{pk}/change/", {"quantity": "2"}).json()["quantity"] == "2"
    assert client.post(f"reservations/{pk}/release/").json()["ended_at"]
    assert client.get("reservations/").json()["items"] == []
    assert client.get("reservations/", ended="true").json()["items"][0]["id"] == pk


def test_bringing_back_what_was_drawn(client, gasket, shelf, site, stores):
    receive(client, gasket, shelf)
    common = {"by": stores, "part_id": gasket.pk, "site_id": site.pk, "label": "bench rags"}
    (free,) = actions.draw(quantity=D(2), **common)
    (held,) = actions.draw(quantity=D(2), holder="card", **common)
    back = client.post(f"movements/{free.pk}/put-back/", {"quantity": "1"})
    assert (back.status_code, back.json()["reverses_id"]) == (200, free.pk)
    assert client.post(f"movements/{free.pk}/put-back/", {"quantity": "2"}).status_code == 409
    refused = client.post(f"movements/{held.pk}/put-back/", {"quantity": "1"})
    assert (refused.status_code, Movement.objects.filter(kind="return").count()) == (409, 1)


def test_many_at_once_under_one_key(client, gasket, shelf):
    good = {"part_id": gasket.pk, "bin_id": shelf.pk, "quantity": "5", "unit_cost": "4.20"}
    items = [good, good | {"quantity": "0.5"}, good | {"part_id": 999}]
    answers = [client.post("lots/receive-many/", {"items": items}, key="delivery-114") for _ in range(2)]
    assert answers[0].content == answers[1].content
    results = answers[0].json()["results"]
    assert [r["lot"] is not None for r in results] == [True, False, False]
    assert [e["pointer"] for e in results[1]["error"]["errors"]] == ["/quantity"]
    assert results[2]["error"]["code"] == "no-part"
    assert Movement.objects.count() == 1
    assert client.post("lots/receive-many/", {"items": []}).status_code == 400
    assert client.post("lots/receive-many/", {"items": [good] * 501}).status_code == 400
    bad = client.post("lots/receive-many/", {"items": [good, good | {"quantity": 5}]})
    assert (bad.status_code, bad.json()["errors"][0]["pointer"]) == (400, "/items/1/quantity")


def test_opening(client, sealant, shelf):
    pk = receive(client, sealant, shelf, "140").json()["id"]
    opened = client.post(f"lots/{pk}/open/", {"bin_id": shelf.pk, "quantity": "70"})
    assert opened.json()["opened_from_id"] == pk
    assert client.post(f"lots/{pk}/open/").json()["opened_at"]
    assert client.post(f"lots/{pk}/open/").status_code == 409


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("quantity", "0"), ("quantity", "-1"), ("quantity", "NaN"), ("quantity", "1e3"), ("quantity", 5),
        ("quantity", "9" * 14), ("quantity", "0.5"), ("unit_cost", "-1"), ("unit_cost", "Infinity"),
        ("unit_cost", None), ("currency", "USD"), ("expires_on", "2026-02-30"), ("expires_on", "31.12.2026"),
        ("batch", "x" * 41), ("received_at", "2099-01-01T00:00:00Z"), ("value", "1"), ("number", "L-1"),
    ],
)  # fmt: skip
def test_bad_input_is_named_and_writes_nothing(client, gasket, shelf, field, value):
    answer = receive(client, gasket, shelf, **{field: value})
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0]["pointer"] == f"/{field}"
    assert not Movement.objects.exists()


def test_a_mechanic_sees_no_cost_and_moves_nothing(api, client, mechanic, gasket, shelf, site):
    pk = receive(client, gasket, shelf).json()["id"]
    bench = api(mechanic)
    assert bench.get(f"lots/{pk}/").json()["unit_cost"] is None
    assert bench.get("lots/").json()["items"][0]["unit_cost"] is None
    assert bench.get("movements/").json()["items"][0]["value"] is None
    assert bench.get("places/").json()["items"][0]["unit_cost"] is None
    assert bench.get("stock/").json()["items"][0]["worth"] is None
    assert receive(bench, gasket, shelf).status_code == 403
    for verb in ("transfer", "scrap", "count", "open"):
        assert bench.post(f"lots/{pk}/{verb}/").status_code == 403
    assert bench.post("bins/", {"site_id": site.pk, "code": "X"}).status_code == 403
    assert bench.post("reservations/", {}).status_code == 403


@pytest.mark.parametrize("path", ["bins", "lots", "movements", "places", "stock", "reservations"])
def test_lists_ask_the_database_as_often_for_many_as_for_few(api, client, stores, site, path):
    def fill(start, end):
        for n in range(start, end):
            part = made_parts.part(stores, f"GKT-{n}")
            made.lot(stores, part.pk, at=made.bin_(stores, f"B{n}"))
            actions.reserve(by=stores, part_id=part.pk, site_id=site.pk, quantity=D(1), label="card")

    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert client.get(f"{path}/").status_code == 200
        return len(asked)

    fill(0, 3)
    few = queries()
    fill(3, 9)
    assert queries() == few <= 4


def test_unknown_things_and_filters(client):
    for path in ("bins", "lots", "movements", "places", "stock", "reservations"):
        assert client.get(f"{path}/999/").status_code == 404
        assert client.get(f"{path}/", colour="blue").status_code == 400
    assert client.post("lots/999/scrap/", {"bin_id": 1, "quantity": "1", "reason": "x"}).status_code == 404
    assert client.post("movements/999/put-back/", {"quantity": "1"}).status_code == 404
    assert client.get("movements/", part_id="x").status_code == 400
