from __future__ import annotations

import re
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.buying import actions
from inventory.buying.models import Offer, OrderLine, PurchaseOrder
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories import moments
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client, stores):
    client.force_login(stores)
    return client


@pytest.fixture
def part(stores):
    return made_parts.part(stores)


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def version(page: str) -> str:
    return re.search(r'name="version" value="(\d+)"', page)[1]


def test_an_offer_is_noted_and_changed(desk, stores, part):
    seller = made.mailable(stores)
    fields = {
        "supplier": seller.pk, "part": part.number, "package": "box", "content": "5", "content_unit": "C62",
        "prices": "1: 20,00\n3: 18", "min_packages": "1", "number": "GS-41", "gtin": "4006381333931",
    }  # fmt: skip
    added = post(desk, reverse("buying:add-offer"), **fields)
    assert added.status_code == 303, added.content.decode()
    row = Offer.objects.get()
    shown = desk.get(added["Location"]).content.decode()
    for words in ("GS-41", "box of 5", "€20.00", "€18.00", "from 3"):
        assert words in shown
    edit = reverse("buying:edit-offer", args=[row.pk])
    assert "1: 20\n3: 18" in desk.get(edit).content.decode()
    del fields["supplier"], fields["part"]
    wrong = post(desk, edit, **fields | {"prices": "1: cheap"}, version="1")
    assert (wrong.status_code, "id_prices_error" in wrong.content.decode()) == (422, True)
    assert post(desk, edit, **fields | {"prices": "21"}, version="1").status_code == 303
    stale = post(desk, edit, **fields | {"note": "x"}, version="1")
    assert stale.status_code == 422
    assert post(desk, reverse("buying:archive-offer", args=[row.pk])).status_code == 303
    assert "GS-41" not in desk.get(reverse("parts:part", args=[part.pk])).content.decode()


def test_from_the_parts_page_to_a_sent_order(desk, stores, part):
    offer = made.offer(stores, part, number="GS-41")
    page = reverse("buying:order-part", args=[part.pk])
    answer = post(desk, page, offer_id=offer.pk, quantity="3", label="card 26-0031")
    assert answer.status_code == 303, answer.content.decode()
    order = PurchaseOrder.objects.get()
    shown = desk.get(answer["Location"]).content.decode()
    for words in ("GS-41", "€64.20", "card 26-0031", "orders@gullhaven.example"):
        assert words in shown
    line = order.lines.get()
    edit = reverse("buying:edit-line", args=[line.pk])
    v = version(desk.get(edit).content.decode())
    assert post(desk, edit, packages="4", price="21.4", label="card 26-0031", version=v).status_code == 303
    sent = post(desk, reverse("buying:send-order", args=[order.pk]), how="mail", version=str(int(v) + 1))
    assert sent.status_code == 303
    shown = desk.get(sent["Location"]).content.decode()
    for words in ("Sent, not confirmed", "PO-", "€85.60", "Note their confirmation"):
        assert words in shown
    assert reverse("buying:edit-line", args=[line.pk]) not in shown
    pdf = desk.get(reverse("buying:order-pdf", args=[order.pk]))
    assert pdf.content.startswith(b"%PDF")


def test_without_an_address_the_page_says_what_to_do(desk, stores, part):
    silent = made.supplier(stores, "Ostwick Factors")
    made.offer(stores, part, of=silent)
    line = actions.add_to_order(by=stores, supplier_id=silent.pk, part_id=part.pk, quantity=1)
    send = reverse("buying:send-order", args=[line.order_id])
    answer = post(desk, send, how="mail", version=line.order.version)
    assert answer.status_code == 422
    assert "has no e-mail address" in answer.content.decode()
    assert post(desk, send, how="printed", version=line.order.version).status_code == 303


def test_a_line_of_hand_and_one_taken_off(desk, stores, part):
    seller = made.supplier(stores)
    begun = post(desk, reverse("buying:add-order"), supplier=seller.pk, note="Ring at the gate")
    order = PurchaseOrder.objects.get()
    assert begun["Location"] == reverse("buying:order", args=[order.pk])
    wrong = post(desk, reverse("buying:add-line", args=[order.pk]), **{"add-part": "nothing", "add-quantity": "1"})
    assert (wrong.status_code, "no part with this number" in wrong.content.decode()) == (422, True)
    added = post(desk, reverse("buying:add-line", args=[order.pk]), **{"add-part": part.number, "add-quantity": "2"})
    assert added.status_code == 303
    assert "price missing" in desk.get(added["Location"]).content.decode()
    line = OrderLine.objects.get()
    assert post(desk, reverse("buying:remove-line", args=[line.pk])).status_code == 303
    assert post(desk, reverse("buying:discard-order", args=[order.pk])).status_code == 303
    assert not PurchaseOrder.objects.exists()


def test_two_at_one_draft_the_later_sees_the_newer(desk, stores, part):
    made.offer(stores, part)
    line = actions.add_to_order(by=stores, supplier_id=made.mailable(stores).pk, part_id=part.pk, quantity=1)
    actions.edit_order_line(line.pk, None, by=stores, label="card 26-0044")
    edit = reverse("buying:edit-line", args=[line.pk])
    answer = post(desk, edit, packages="9", price="21.4", label="", version="2")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "card 26-0044" in page
    assert 'value="9"' in page


def test_confirmed_late_chased_closed(desk, stores, part):
    order = made.sent(stores, part, "10", how="mail")
    line = order.lines.get()
    confirm = reverse("buying:confirm-order", args=[order.pk])
    v = version(desk.get(confirm).content.decode())
    day = clock.today() + timedelta(days=1)
    fields = {"confirmation_no": "AB-1", f"line_{line.pk}": str(day), "version": v}
    assert post(desk, confirm, **fields).status_code == 303
    with clock.at(moments.away(4)):
        assert "delivery, 3 days overdue" in desk.get(reverse("buying:order", args=[order.pk])).content.decode()
        assert "3 days overdue" in desk.get(reverse("buying:orders"), {"state": "overdue"}).content.decode()
        assert "overdue, was due" in desk.get(reverse("buying:awaited")).content.decode()
        chase = reverse("buying:chase-order", args=[order.pk])
        v = version(desk.get(chase).content.decode())
        silent = post(desk, chase, how="phone", version=v)
        assert (silent.status_code, "id_note_error" in silent.content.decode()) == (422, True)
        assert post(desk, chase, how="mail", version=v).status_code == 303
        close = reverse("buying:close-line", args=[line.pk])
        v = version(desk.get(close).content.decode())
        assert post(desk, close, reason="No longer made", version=v).status_code == 303
    shown = desk.get(reverse("buying:order", args=[order.pk])).content.decode()
    assert "Closed" in shown
    assert "No longer made" in shown


@pytest.mark.parametrize("name", ["orders", "awaited"])
def test_lists_ask_as_often_for_many_as_for_few(desk, stores, name):
    def count():
        with CaptureQueriesContext(connection) as asked:
            assert desk.get(reverse(f"buying:{name}")).status_code == 200
        return len(asked)

    for n in range(2):
        made.sent(stores, made_parts.part(stores, f"A-{n}", "A"))
    few = count()
    for n in range(2, 6):
        made.sent(stores, made_parts.part(stores, f"A-{n}", "A"))
    assert count() == few


def test_the_office_sees_orders_and_changes_none(client, office, stores, part):
    order = made.sent(stores, part)
    client.force_login(office)
    shown = client.get(reverse("buying:order", args=[order.pk])).content.decode()
    assert reverse("buying:close-order", args=[order.pk]) not in shown
    assert client.get(reverse("buying:close-order", args=[order.pk])).status_code == 403
