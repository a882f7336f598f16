from __future__ import annotations

import re
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.buying import actions
from inventory.buying.models import GoodsReceipt, ReceiptLine
from inventory.stock.models import Lot
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories import moments
from tests.factories import parts as made_parts
from tests.factories import stock as made_stock

pytestmark = pytest.mark.django_db
GTIN = "4006381333931"


@pytest.fixture
def desk(client, stores):
    client.force_login(stores)
    return client


@pytest.fixture
def order(stores):
    made_stock.bin_(stores)
    tube = made_parts.sealant(stores)
    made.offer(stores, tube, ("1", "8.05"), package="tube", content="70", gtin=GTIN, number="ML-7")
    return made.sent(stores, tube, "140", label="card 26-0031")


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def version(page: str) -> str:
    return re.search(r'name="(?:whole-)?version" value="(\d+)"', page)[1]


def opened(desk, order, note="4711"):
    answer = post(desk, reverse("buying:open-receipt"), source=f"order-{order.pk}", delivery_note=note, bin="A3-02")
    assert answer.status_code == 303, answer.content.decode()
    return GoodsReceipt.objects.get(delivery_note=note)


def test_scanned_then_posted(desk, order):
    assert reverse("buying:open-receipt") in desk.get(reverse("buying:order", args=[order.pk])).content.decode()
    row = opened(desk, order)
    page = desk.get(reverse("buying:receipt", args=[row.pk])).content.decode()
    assert "Awaited, not counted yet" in page
    until = (clock.today() + timedelta(days=300)).strftime("%y%m%d")
    scan = reverse("buying:scan", args=[row.pk])
    for _ in range(2):
        assert post(desk, scan, code=f"(01)0{GTIN}(17){until}(10)B-77").status_code == 303
    wrong = post(desk, scan, code="nothing")
    assert wrong.status_code == 422
    assert "No part and no offer" in wrong.content.decode()
    page = desk.get(reverse("buying:receipt", args=[row.pk])).content.decode()
    for words in ("140\xa0ml", "B-77", "card 26-0031", "€16.10"):
        assert words in page
    assert "Awaited, not counted yet" not in page
    whole = {
        "whole-delivery_note": "4711", "whole-delivered_on": str(clock.today()), "whole-bin": "A3-02", "whole-freight": "3,90",
        "whole-version": version(page),
    }  # fmt: skip
    assert post(desk, reverse("buying:edit-receipt", args=[row.pk]), **whole).status_code == 303
    stale = post(desk, reverse("buying:edit-receipt", args=[row.pk]), **whole)
    assert stale.status_code == 422
    posted = post(desk, reverse("buying:post-receipt", args=[row.pk]))
    page = desk.get(posted["Location"]).content.decode()
    for words in ("Posted. It is in stock now.", "€20.00 landed", "GR-", Lot.objects.get().number):
        assert words in page
    assert reverse("buying:scan", args=[row.pk]) not in page
    assert "Closed" in desk.get(reverse("buying:order", args=[order.pk])).content.decode()


def test_a_scan_pressed_twice_counts_once(desk, order):
    row = opened(desk, order)
    sent = {"once": str(uuid.uuid4()), "code": "ML-7"}
    for _ in range(2):
        assert desk.post(reverse("buying:scan", args=[row.pk]), sent).status_code == 303
    assert ReceiptLine.objects.get().quantity == 70


def test_the_same_delivery_note_leads_to_the_earlier_receipt(desk, order):
    row = opened(desk, order)
    again = post(desk, reverse("buying:open-receipt"), source=f"order-{order.pk}", delivery_note="4711")
    page = again.content.decode()
    assert again.status_code == 422
    assert "is being counted by Tamsin Roe" in page
    assert reverse("buying:receipt", args=[row.pk]) in page


def test_all_came_by_one_press_or_line_by_line(desk, stores, order):
    row = opened(desk, order)
    line = order.lines.get()
    assert post(desk, reverse("buying:came", args=[row.pk]), order_line=line.pk).status_code == 303
    counted = ReceiptLine.objects.get()
    assert counted.quantity == 140
    edit = reverse("buying:edit-receipt-line", args=[counted.pk])
    v = version(desk.get(edit).content.decode())
    assert post(desk, edit, quantity="70", price="8.05", batch="B-9", version=v).status_code == 303
    assert post(desk, reverse("buying:remove-receipt-line", args=[counted.pk])).status_code == 303
    assert post(desk, reverse("buying:fill-receipt", args=[row.pk])).status_code == 303
    assert ReceiptLine.objects.get().quantity == 140
    assert post(desk, reverse("buying:discard-receipt", args=[row.pk])).status_code == 303
    assert not GoodsReceipt.objects.exists()


def test_by_hand_with_what_a_gs1_code_says(desk, order):
    row = opened(desk, order)
    page = reverse("buying:add-receipt-line", args=[row.pk])
    number = order.lines.get().part.number
    wrong = post(desk, page, part="nothing", quantity="1")
    assert (wrong.status_code, "id_part_error" in wrong.content.decode()) == (422, True)
    late = str(clock.today() - timedelta(days=3))
    refused = post(desk, page, part=number, quantity="70", expires_on=late)
    assert refused.status_code == 422
    assert "expired on" in refused.content.decode()
    assert "id_quarantine_reason" in refused.content.decode()
    assert post(desk, page, part=number, quantity="70", batch="X").status_code == 303


def test_the_office_accepts_what_is_too_much(desk, client, stores, office, order):
    row = opened(desk, order)
    actions.add_receipt_line(row.pk, None, by=stores, order_line_id=order.lines.get().pk, quantity=210)
    page = desk.get(reverse("buying:receipt", args=[row.pk])).content.decode()
    line = ReceiptLine.objects.get()
    assert "more than awaited" in page
    accept = reverse("buying:accept-over", args=[line.pk])
    assert accept not in page
    refused = desk.post(reverse("buying:post-receipt", args=[row.pk]), {"once": str(uuid.uuid4())}, follow=True)
    assert "are awaited" in refused.content.decode()
    client.force_login(office)
    page = client.get(reverse("buying:receipt", args=[row.pk])).content.decode()
    assert accept in page
    assert reverse("buying:post-receipt", args=[row.pk]) not in page
    assert post(client, accept, reason="Needed in May").status_code == 303
    client.force_login(stores)
    assert post(client, reverse("buying:post-receipt", args=[row.pk])).status_code == 303
    assert Lot.objects.count() == 1


def test_some_goes_back(desk, stores, order):
    receipt = made.received(stores, order)
    line = receipt.lines.get()
    back = reverse("buying:send-back", args=[line.pk])
    assert back in desk.get(reverse("buying:receipt", args=[receipt.pk])).content.decode()
    fields = {"quantity": "70", "bin_id": receipt.bin_id, "reason": "Leaks", "replace": "on"}
    assert post(desk, back, **fields | {"quantity": "999"}).status_code == 422
    assert post(desk, back, **fields).status_code == 303
    assert "70\xa0ml sent back" in desk.get(reverse("buying:receipt", args=[receipt.pk])).content.decode()
    assert "Received in part" in desk.get(reverse("buying:order", args=[order.pk])).content.decode()


def test_the_part_and_the_supplier_say_how_long_it_really_took(desk, stores):
    made_stock.bin_(stores)
    part = made_parts.part(stores)
    with clock.at(moments.away(-6)):
        order = made.sent(stores, part, "3")
    made.received(stores, order)
    for url in (reverse("parts:part", args=[part.pk]), reverse("buying:supplier", args=[order.supplier_id])):
        assert "6 days the one time it was ordered" in desk.get(url).content.decode()


def test_the_list_asks_as_often_for_many_as_for_few(desk, stores):
    part = made_parts.part(stores)

    def count():
        with CaptureQueriesContext(connection) as asked:
            assert desk.get(reverse("buying:receipts")).status_code == 200
        return len(asked)

    for n in range(2):
        made.received(stores, made.sent(stores, part, "5"), f"A{n}")
    few = count()
    for n in range(2, 6):
        made.received(stores, made.sent(stores, part, "5"), f"A{n}")
    assert count() == few
