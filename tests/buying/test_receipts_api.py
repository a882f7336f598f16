from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.db.utils import IntegrityError
from django.test.utils import CaptureQueriesContext

from inventory.buying import actions, arrivals, queries
from inventory.buying.models import GoodsReceipt, ReceiptLine, SentBack
from inventory.parts import actions as catalogue
from inventory.stock import ledger
from inventory.stock.models import Balance, Lot, Movement
from shop.kernel import clock
from shop.kernel.identity import gtin_check_digit
from tests.factories import buying as made
from tests.factories import moments
from tests.factories import parts as made_parts
from tests.factories import stock as made_stock

pytestmark = pytest.mark.django_db
GTIN = "4006381333931"


@pytest.fixture
def part(stores):
    return made_parts.part(stores)


@pytest.fixture
def shelf(stores):
    return made_stock.bin_(stores)


def kind(answer) -> str:
    return answer.json()["type"].rsplit("/", 1)[-1]


def opened(client, order, shelf, note="4711", **more):
    answer = client.post("goods-receipts/", {"order_id": order.pk, "delivery_note": note, "bin_id": shelf.pk} | more)
    assert answer.status_code == 201, answer.content
    return answer.json()["id"]


def test_received_in_part_then_the_rest(api, stores, part, shelf):
    order = made.sent(stores, part, "10", label="card 26-0031")
    client, row = api(stores), order.lines.get()
    pk = opened(client, order, shelf)
    line = client.post("goods-receipt-lines/", {"receipt_id": pk, "order_line_id": row.pk, "quantity": "4"})
    assert line.status_code == 201, line.content
    assert Lot.objects.count() == 0  # counted is not received
    posted = client.post(f"goods-receipts/{pk}/post/")
    assert posted.status_code == 200, posted.content
    assert posted.json()["number"] == f"GR-{clock.today():%y}-0001"
    assert client.get(f"purchase-orders/{order.pk}/").json()["state"] == "part-received"
    got = client.get(f"purchase-order-lines/{row.pk}/").json()
    assert (got["received"], got["open"]) == ("4", "6")
    lot = Lot.objects.get()
    assert (lot.unit_cost, lot.source) == (D("21.40"), "Gullhaven Seals, 4711")
    assert Balance.objects.get(lot=lot).on_hand == 4
    second = opened(client, order, shelf, "4712")
    client.post(f"goods-receipts/{second}/fill/")
    assert client.post(f"goods-receipts/{second}/post/").status_code == 200
    assert client.get(f"purchase-orders/{order.pk}/").json()["state"] == "closed"
    assert list(ledger.wrong()) == []


def test_a_delivery_note_comes_once(api, stores, part, shelf):
    order = made.sent(stores, part, "10")
    client = api(stores)
    pk = opened(client, order, shelf)
    again = client.post("goods-receipts/", {"order_id": order.pk, "delivery_note": "4711", "bin_id": shelf.pk})
    assert again.status_code == 400
    assert "is being counted by Tamsin Roe" in again.json()["detail"]
    client.post(f"goods-receipts/{pk}/fill/")
    client.post(f"goods-receipts/{pk}/post/")
    again = client.post(
        "goods-receipts/", {"supplier_id": order.supplier_id, "delivery_note": " 4711", "bin_id": shelf.pk}
    )
    assert f"GR-{clock.today():%y}-0001 by Tamsin Roe" in again.json()["detail"]
    assert again.json()["errors"][0]["pointer"] == "/delivery_note"
    other = made.supplier(stores, "Ostwick Factors")
    assert (
        client.post(
            "goods-receipts/", {"supplier_id": other.pk, "delivery_note": "4711", "bin_id": shelf.pk}
        ).status_code
        == 201
    )  # theirs is another


def test_more_than_ordered_is_for_the_office_to_accept(api, stores, office, owner, part, shelf):
    order = made.sent(stores, part, "10")
    client, row = api(stores), order.lines.get()
    pk = opened(client, order, shelf)
    line = client.post("goods-receipt-lines/", {"receipt_id": pk, "order_line_id": row.pk, "quantity": "12"}).json()[
        "id"
    ]
    refused = client.post(f"goods-receipts/{pk}/post/")
    assert (refused.status_code, kind(refused)) == (409, "over-delivered")
    assert "12 pc of GKT-041 came, 10 pc are awaited" in refused.json()["detail"]
    assert refused.json()["facts"]["lines"] == [{"id": line, "part_id": part.pk, "over": "2"}]
    assert Movement.objects.count() == 0
    assert client.post(f"goods-receipt-lines/{line}/accept-over/", {"reason": "keep"}).status_code == 403
    assert api(office).post(f"goods-receipt-lines/{line}/accept-over/", {}).status_code == 400
    kept = api(office).post(f"goods-receipt-lines/{line}/accept-over/", {"reason": "Same price, needed in May"})
    assert kept.json()["over_reason"] == "Same price, needed in May"
    assert client.post(f"goods-receipts/{pk}/post/").status_code == 200
    got = client.get(f"purchase-order-lines/{row.pk}/").json()
    assert (got["received"], got["open"]) == ("12", "0")


def test_two_batches_together_may_not_exceed_the_order(api, stores, part, shelf):
    order = made.sent(stores, part, "10")
    client, row = api(stores), order.lines.get()
    pk = opened(client, order, shelf)
    for batch in ("A", "B"):
        body = {"receipt_id": pk, "order_line_id": row.pk, "quantity": "6", "batch": batch}
        assert client.post("goods-receipt-lines/", body).status_code == 201
    assert kind(client.post(f"goods-receipts/{pk}/post/")) == "over-delivered"


def test_what_nobody_ordered_needs_a_price_and_a_yes(api, stores, office, part, shelf):
    seller, client = made.supplier(stores), api(stores)
    pk = client.post("goods-receipts/", {"supplier_id": seller.pk, "delivery_note": "1", "bin_id": shelf.pk}).json()[
        "id"
    ]
    body = {"receipt_id": pk, "part_id": part.pk, "quantity": "1"}
    assert client.post("goods-receipt-lines/", body).json()["errors"][0]["pointer"] == "/price"
    line = client.post("goods-receipt-lines/", body | {"price": "19.00"}).json()["id"]
    refused = client.post(f"goods-receipts/{pk}/post/")
    assert "none was ordered" in refused.json()["detail"]
    api(office).post(f"goods-receipt-lines/{line}/accept-over/", {"reason": "A sample"})
    assert client.post(f"goods-receipts/{pk}/post/").status_code == 200


def test_freight_and_duty_land_on_the_lots(api, stores, shelf):
    gasket, ring = made_parts.part(stores), made_parts.part(stores, "RNG-301", "Ring set")
    made.offer(stores, ring, ("1", "36.50"))
    made.offer(stores, gasket, ("1", "21.40"))
    actions.add_to_order(by=stores, supplier_id=made.mailable(stores).pk, part_id=ring.pk, quantity=D(2))
    order = made.sent(stores, gasket, "3")
    client = api(stores)
    pk = opened(client, order, shelf, freight="9.50", duty="1.37")
    client.post(f"goods-receipts/{pk}/fill/")
    client.post(f"goods-receipts/{pk}/post/")
    lines = client.get("goods-receipt-lines/", receipt_id=pk, order="oldest").json()["items"]
    # 73.00 and 64.20 of 137.20: freight 5.0547, 4.4453; duty 0.7289, 0.6411
    assert [(x["net"], x["freight"], x["duty"], x["value"]) for x in lines] == [
        ("73.00", "5.05", "0.73", "78.78"),
        ("64.20", "4.45", "0.64", "69.29"),
    ]
    assert [lot.unit_cost for lot in Lot.objects.order_by("id")] == [D("39.390000"), D("23.096667")]


def test_a_receipt_in_pounds_needs_its_rate(api, stores, part, shelf):
    seller = made.supplier(stores, "Tern", currency="GBP")
    made.offer(stores, part, ("1", "10.00"), of=seller)
    order = made.sent(stores, part, "3")
    client = api(stores)
    pk = opened(client, order, shelf, freight="3.00")
    client.post(f"goods-receipts/{pk}/fill/")
    assert kind(client.post(f"goods-receipts/{pk}/post/")) == "rate-missing"
    assert client.patch(f"goods-receipts/{pk}/", {"rate": "1.16"}).status_code == 200
    assert client.post(f"goods-receipts/{pk}/post/").status_code == 200
    assert Lot.objects.get().unit_cost == D("12.76")  # 33.00 x 1.16 / 3
    assert client.post("goods-receipts/", {
        "supplier_id": made.supplier(stores).pk, "delivery_note": "x", "bin_id": shelf.pk, "rate": "2",
    }).json()["errors"][0]["pointer"] == "/rate"  # fmt: skip


def test_by_scanning_gs1(api, stores, shelf):
    tube = made_parts.sealant(stores)
    made.offer(stores, tube, ("1", "8.05"), package="tube", content="70", gtin=GTIN, number="ML-7")
    order = made.sent(stores, tube, "210")
    client = api(stores)
    pk = opened(client, order, shelf)
    until = (clock.today() + timedelta(days=300)).strftime("%y%m%d")
    code = f"]C101{GTIN.rjust(14, '0')}17{until}10B-77"
    for _ in range(2):
        scanned = client.post(f"goods-receipts/{pk}/scan/", {"code": code})
        assert scanned.status_code == 201, scanned.content
    got = scanned.json()
    assert (got["quantity"], got["batch"], got["price"], got["price_per"]) == ("140", "B-77", "8.05", "70")
    assert got["expires_on"] == str(clock.today() + timedelta(days=300))
    other = client.post(f"goods-receipts/{pk}/scan/", {"code": f"(01){GTIN.rjust(14, '0')}(15){until}(10)B-78"}).json()
    assert (other["quantity"], other["batch"], other["expires_on"]) == ("70", "B-78", got["expires_on"])
    by_number = client.post(f"goods-receipts/{pk}/scan/", {"code": "ml-7"}).json()
    assert (by_number["quantity"], by_number["batch"]) == ("70", "")
    client.delete(f"goods-receipt-lines/{by_number['id']}/")
    assert client.post(f"goods-receipts/{pk}/post/").status_code == 200
    assert sorted(Lot.objects.values_list("batch", "unit_cost")) == [("B-77", D("0.115")), ("B-78", D("0.115"))]


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("]C1010400638133393017", "check digit"),
        ("(10)B-77", "names no article"),
        ("nothing", "No part and no offer"),
        (" ", ""),
    ],
)
def test_a_code_that_says_nothing_counts_nothing(api, stores, part, shelf, code, said):
    order = made.sent(stores, part, "10")
    client = api(stores)
    pk = opened(client, order, shelf)
    answer = client.post(f"goods-receipts/{pk}/scan/", {"code": code})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/code"
    assert said in answer.json()["errors"][0]["detail"]
    assert not ReceiptLine.objects.exists()


def test_an_expired_batch_goes_into_quarantine_with_a_reason_or_not_at_all(api, stores, owner, shelf):
    tube = made_parts.sealant(stores)
    made.offer(stores, tube, ("1", "8.05"), package="tube", content="70", gtin=GTIN)
    order = made.sent(stores, tube, "70")
    client = api(stores)
    pk = opened(client, order, shelf)
    row, gone = order.lines.get(), str(clock.today() - timedelta(days=2))
    body = {"receipt_id": pk, "order_line_id": row.pk, "quantity": "70", "expires_on": gone, "batch": "OLD"}
    refused = client.post("goods-receipt-lines/", body)
    assert (refused.status_code, kind(refused)) == (409, "expired")
    assert kind(client.post("goods-receipt-lines/", body | {"quarantine_reason": "They collect it"})) == "expired"
    apart = made_stock.bin_(stores, "Q1", kind="quarantine")
    kept = client.post("goods-receipt-lines/", body | {"quarantine_reason": "They collect it", "bin_id": apart.pk})
    assert kept.status_code == 201, kept.content
    assert client.post(f"goods-receipts/{pk}/post/").status_code == 403  # an owner's word
    assert api(owner).post(f"goods-receipts/{pk}/post/").status_code == 200
    assert Movement.objects.get().override == "They collect it"


def test_a_posted_receipt_stays(api, stores, part, shelf):
    receipt = made.received(stores, made.sent(stores, part, "10"))
    client, line = api(stores), receipt.lines.get()
    for answer in (
        client.patch(f"goods-receipts/{receipt.pk}/", {"note": "x"}),
        client.patch(f"goods-receipt-lines/{line.pk}/", {"quantity": "1"}),
        client.delete(f"goods-receipts/{receipt.pk}/"),
        client.delete(f"goods-receipt-lines/{line.pk}/"),
        client.post(f"goods-receipts/{receipt.pk}/post/"),
    ):
        assert (answer.status_code, kind(answer)) == (409, "posted")


@pytest.mark.parametrize(
    "change",
    [
        lambda r: GoodsReceipt.objects.filter(pk=r.pk).update(note="x"),
        lambda r: r.lines.update(quantity=1),
        lambda r: ReceiptLine.objects.filter(receipt=r).delete(),
        lambda r: SentBack.objects.update(reason="x"),
    ],
)
def test_the_database_refuses_to_change_it(stores, part, change):
    receipt = made.received(stores, made.sent(stores, part, "10"))
    line = receipt.lines.get()
    actions.send_back(by=stores, receipt_line_id=line.pk, bin_id=receipt.bin_id, quantity=D(1), reason="Bent")
    with pytest.raises(IntegrityError):
        change(receipt)


def test_sent_back_and_awaited_again(api, stores, part, shelf):
    order = made.sent(stores, part, "10")
    receipt = made.received(stores, order)
    client, line, row = api(stores), receipt.lines.get(), order.lines.get()
    back = {"quantity": "3", "bin_id": shelf.pk, "reason": "Bent"}
    answer = client.post(f"goods-receipt-lines/{line.pk}/send-back/", back)
    assert answer.status_code == 201, answer.content
    got = client.get(f"purchase-order-lines/{row.pk}/").json()
    assert (got["received"], got["open"]) == ("7", "3")
    assert client.get(f"purchase-orders/{order.pk}/").json()["state"] == "part-received"
    move = Movement.objects.get(pk=answer.json()["movement_id"])
    assert (move.kind, move.quantity, move.reason) == ("sent-back", D(-3), "Bent")
    assert move.label == f"Gullhaven Seals, {receipt}"
    assert move.value == -3 * move.lot.cost
    kept = client.post(f"goods-receipt-lines/{line.pk}/send-back/", back | {"replace": False})
    assert kept.status_code == 201
    assert client.get(f"purchase-order-lines/{row.pk}/").json()["open"] == "3"
    too_much = client.post(f"goods-receipt-lines/{line.pk}/send-back/", back | {"quantity": "5"})
    assert (too_much.status_code, too_much.json()["errors"][0]["pointer"]) == (400, "/quantity")
    assert "Only 4 pc" in too_much.json()["detail"]
    assert list(ledger.wrong()) == []


def test_rooms_above_hear_what_came_for_whom(stores, part):
    heard = []
    listener = lambda by, came: heard.append(came)  # noqa: E731
    arrivals.listen(listener)
    try:
        made.received(stores, made.sent(stores, part, "10", label="card 26-0031"))
    finally:
        arrivals.forget(listener)
    (came,) = heard
    assert (came.label, came.quantity, came.part_id, came.lot_id) == ("card 26-0031", 10, part.pk, Lot.objects.get().pk)


def test_what_a_listener_refuses_is_not_received(stores, part):
    from shop.kernel.errors import Refused

    def refuse(by, came):
        raise Refused("no")

    receipt = made.delivery(stores, made.sent(stores, part, "10"))
    actions.fill_receipt(receipt.pk, by=stores)
    arrivals.listen(refuse)
    try:
        with pytest.raises(Refused):
            actions.post_receipt(receipt.pk, None, by=stores)
    finally:
        arrivals.forget(refuse)


def test_lead_times_are_what_deliveries_took(stores, part, django_assert_num_queries):
    for n, days in enumerate((3, 7, 4)):
        with clock.at(moments.away(-(40 - 10 * n))):
            order = made.sent(stores, part, "5")
        with clock.at(moments.away(-(40 - 10 * n - days))):
            made.received(stores, order, f"N{n}")
    with django_assert_num_queries(1):
        found = queries.lead_times(part_ids=[part.pk])
    (its,) = found.values()
    assert (its.deliveries, its.usual, its.longest) == (3, 4, 7)
    assert queries.lead_time_of(made.mailable(stores).pk) == its


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"delivery_note": "  "}, "/delivery_note"),
        ({"delivered_on": "2999-01-01"}, "/delivered_on"),
        ({"freight": "-1"}, "/freight"),
        ({"freight": "1.005"}, "/freight"),
        ({"bin_id": 999}, "/bin_id"),
        ({"order_id": 999}, "/order_id"),
    ],
)
def test_bad_input_is_named(api, stores, part, shelf, body, pointer):
    order = made.sent(stores, part)
    given = {"order_id": order.pk, "delivery_note": "1", "bin_id": shelf.pk} | body
    answer = api(stores).post("goods-receipts/", given)
    assert answer.status_code == 400
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not GoodsReceipt.objects.exists()


@pytest.mark.parametrize("path", ["goods-receipts/", "goods-receipt-lines/"])
def test_lists_ask_as_often_for_many_as_for_few(api, stores, part, path):
    client = api(stores)

    def count():
        with CaptureQueriesContext(connection) as asked:
            assert client.get(path).status_code == 200
        return len(asked)

    for n in range(2):
        made.received(stores, made.sent(stores, part, "5"), f"A{n}")
    few = count()
    for n in range(2, 6):
        made.received(stores, made.sent(stores, part, "5"), f"A{n}")
    assert count() == few


def test_a_boxs_own_code_counts_the_whole_box_and_the_pieces_one(api, stores, shelf):
    part = made_parts.part(stores, barcode=GTIN)
    box = "1" + GTIN[:12]
    box += gtin_check_digit(box)
    catalogue.add_package(part.pk, by=stores, kind="XBX", content=D(50), gtin=box)
    order = made.sent(stores, part, "120")
    client = api(stores)
    pk = opened(client, order, shelf)

    def counted(code):
        answer = client.post(f"goods-receipts/{pk}/scan/", {"code": code})
        assert answer.status_code == 201, answer.content
        return answer.json()["quantity"]

    assert [counted(code) for code in (box, f"]C101{box}", GTIN, box)] == ["50", "100", "101", "151"]
