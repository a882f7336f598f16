from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.buying import actions, queries
from inventory.buying.models import OrderLine, PurchaseOrder
from shop.documents.models import Attachment
from shop.kernel import clock
from shop.trail import outbox
from tests.documents.reading import text as text_of
from tests.factories import buying as made
from tests.factories import moments
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(stores):
    return made_parts.part(stores)


@pytest.fixture
def seller(stores):
    return made.mailable(stores)


@pytest.fixture
def boxed(stores, part, seller):
    return made.offer(
        stores, part, ("1", "20.00"), ("3", "18.00"), package="box", content="5", number="GS-41", min_packages=D(2)
    )


def line(client, part, seller, quantity="12", **more):
    return client.post(
        "purchase-order-lines/", {"supplier_id": seller.pk, "part_id": part.pk, "quantity": quantity} | more
    )


def test_what_is_wanted_goes_onto_one_draft_in_whole_packages(api, stores, part, seller, boxed):
    client = api(stores)
    first = line(client, part, seller, "12", label="card 26-0031")
    assert first.status_code == 201, first.content
    got = first.json()
    assert (got["packages"], got["quantity"], got["price"], got["offer_id"]) == ("3", "15", "18.00", boxed.pk)
    assert line(client, part, seller, "1").json()["packages"] == "2"  # the least they sell
    grown = line(client, part, seller, "4", label="card 26-0031").json()
    assert (grown["id"], grown["packages"]) == (got["id"], "4")
    assert PurchaseOrder.objects.count() == 1
    order = client.get(f"purchase-orders/{got['order_id']}/").json()
    assert (order["state"], order["number"], order["total"]) == ("draft", "", "112.00")


def test_sent_by_mail_as_a_pdf_with_the_next_number(api, stores, part, seller, boxed):
    client = api(stores)
    pk = line(client, part, seller).json()["order_id"]
    sent = client.post(f"purchase-orders/{pk}/send/")
    assert sent.status_code == 200, sent.content
    got = sent.json()
    assert (got["state"], got["number"], got["sent_to"]) == ("sent", f"PO-{clock.today():%y}-0001", seller.email)
    assert client.get("purchase-order-lines/", order_id=pk).json()["items"][0]["due_on"] == str(
        clock.today() + timedelta(days=5)
    )
    outbox.drain()
    outbox.drain()  # the PDF's handler queued the mail
    (letter,) = mail.outbox
    assert letter.to == [seller.email]
    name, content, kind = letter.attachments[0]
    assert (name, kind) == (f"{got['number']}.pdf", "application/pdf")
    text = text_of(content if isinstance(content, bytes) else content.encode())
    for words in ("GS-41", "GKT-041", "54.00", got["number"], "Gullhaven Seals"):
        assert words in text
    assert Attachment.objects.filter(subject="purchaseorder", subject_id=pk).count() == 1
    again = client.post(f"purchase-orders/{pk}/send/")
    assert (again.status_code, again.json()["type"].rsplit("/", 1)[-1]) == (409, "sent")


def test_without_a_mail_address_it_is_told_by_phone(api, stores, part):
    client, silent = api(stores), made.supplier(stores, "Ostwick Factors")
    made.offer(stores, part, of=silent)
    pk = line(client, part, silent).json()["order_id"]
    refused = client.post(f"purchase-orders/{pk}/send/")
    assert (refused.status_code, refused.json()["type"].rsplit("/", 1)[-1]) == (409, "no-mail-address")
    assert "has no e-mail address" in refused.json()["detail"]
    told = client.post(f"purchase-orders/{pk}/send/", {"how": "phone"})
    assert (told.status_code, told.json()["sent_how"]) == (200, "phone")
    outbox.drain()
    assert mail.outbox == []
    assert Attachment.objects.filter(subject="purchaseorder").count() == 1


def test_numbers_have_no_gap_when_a_sending_is_refused(api, stores, part, seller, boxed):
    client = api(stores)
    empty = client.post("purchase-orders/", {"supplier_id": seller.pk}).json()["id"]
    assert client.post(f"purchase-orders/{empty}/send/").status_code == 409
    pk = line(client, part, seller).json()["order_id"]
    assert pk == empty
    assert client.post(f"purchase-orders/{pk}/send/").json()["number"].endswith("-0001")


def test_a_price_that_is_not_known_is_asked_for(api, stores, part, seller):
    client = api(stores)
    made_ = line(client, part, seller, "3").json()
    assert made_["price"] is None
    refused = client.post(f"purchase-orders/{made_['order_id']}/send/")
    assert refused.json()["type"].rsplit("/", 1)[-1] == "price-missing"
    priced = client.patch(f"purchase-order-lines/{made_['id']}/", {"price": "7.25"})
    assert priced.json()["price"] == "7.25"
    assert client.post(f"purchase-orders/{made_['order_id']}/send/").json()["total"] == "21.75"


def test_a_draft_is_changed_and_a_sent_one_stays(api, stores, part, seller, boxed):
    client = api(stores)
    got = line(client, part, seller).json()
    fewer = client.patch(f"purchase-order-lines/{got['id']}/", {"packages": "2"}).json()
    assert (fewer["quantity"], fewer["price"]) == ("10", "20.00")
    low = client.patch(f"purchase-order-lines/{got['id']}/", {"packages": "1"})
    assert (low.status_code, low.json()["errors"][0]["pointer"]) == (400, "/packages")
    assert client.patch(f"purchase-orders/{got['order_id']}/", {"note": "Ring first"}).json()["note"] == "Ring first"
    client.post(f"purchase-orders/{got['order_id']}/send/")
    assert client.patch(f"purchase-order-lines/{got['id']}/", {"packages": "3"}).status_code == 409
    assert client.delete(f"purchase-order-lines/{got['id']}/").status_code == 409
    assert client.delete(f"purchase-orders/{got['order_id']}/").status_code == 409
    assert line(client, part, seller).json()["order_id"] != got["order_id"]


def test_a_draft_is_thrown_away(api, stores, part, seller, boxed):
    client = api(stores)
    got = line(client, part, seller).json()
    assert client.delete(f"purchase-order-lines/{got['id']}/").status_code == 204
    assert client.delete(f"purchase-orders/{got['order_id']}/").status_code == 204
    assert not PurchaseOrder.objects.exists()


@pytest.mark.parametrize("quantity", ["0", "1.5", "1000000000"])
def test_quantities_that_cannot_be(api, stores, part, seller, boxed, quantity):
    answer = line(api(stores), part, seller, quantity)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/quantity")
    assert not OrderLine.objects.exists()
    assert not PurchaseOrder.objects.exists()


def test_the_cheapest_offer_for_the_quantity_is_taken(api, stores, part, seller, boxed):
    single = made.offer(stores, part, ("1", "3.00"), number="GS-1")
    client = api(stores)
    assert line(client, part, seller, "2").json()["offer_id"] == single.pk  # 6.00 against two boxes, 40.00
    made.offer(stores, part, ("1", "0.50"), number="GS-2", currency="GBP")
    assert line(client, part, seller, "2", label="x").json()["offer_id"] == single.pk  # another currency
    other = made.offer(stores, part, of=made.supplier(stores, "Ostwick Factors"))
    wrong = line(client, part, seller, "2", offer_id=other.pk)
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/offer_id")


def test_confirmed_with_days_then_late_then_chased(api, stores, part):
    order = made.sent(stores, part, "10", how="mail")
    client, row = api(stores), order.lines.get()
    soon = clock.today() + timedelta(days=2)
    wrong = client.post(f"purchase-orders/{order.pk}/confirm/", {"lines": [{"line_id": 999, "promised_on": str(soon)}]})
    assert wrong.status_code == 400
    early = client.post(f"purchase-orders/{order.pk}/confirm/", {"promised_on": "2001-01-01"})
    assert (early.status_code, early.json()["errors"][0]["pointer"]) == (400, "/promised_on")
    body = {"confirmation_no": "AB-1", "lines": [{"line_id": row.pk, "promised_on": str(soon)}]}
    assert client.post(f"purchase-orders/{order.pk}/confirm/", body).json()["state"] == "confirmed"
    assert client.get("purchase-orders/", state="overdue").json()["items"] == []
    with clock.at(moments.away(5)):
        (late,) = client.get("purchase-orders/", state="overdue").json()["items"]
        assert (late["id"], late["overdue_days"]) == (order.pk, 3)
        assert client.get("purchase-order-lines/", overdue="true").json()["items"][0]["overdue"]
        silent = client.post(f"purchase-orders/{order.pk}/chase/", {"how": "phone"})
        assert (silent.status_code, silent.json()["errors"][0]["pointer"]) == (400, "/note")
        assert client.post(f"purchase-orders/{order.pk}/chase/").json()["chased_at"]
        outbox.drain()
    (asked,) = [m for m in mail.outbox if m.subject == f"Where is our order {order.number}?"]
    assert f"- 10 {part.number}" in asked.body
    assert str(soon) in asked.body


def test_what_never_comes_is_closed_with_a_reason(api, stores, part):
    order = made.sent(stores, part, "10")
    client, row = api(stores), order.lines.get()
    assert client.post(f"purchase-order-lines/{row.pk}/close/", {}).status_code == 400
    closed = client.post(f"purchase-order-lines/{row.pk}/close/", {"reason": "No longer made"}).json()
    assert (closed["open"], closed["closed_reason"]) == ("0", "No longer made")
    assert client.get(f"purchase-orders/{order.pk}/").json()["state"] == "closed"
    assert client.post(f"purchase-orders/{order.pk}/close/", {"reason": "x"}).status_code == 409


def test_what_is_coming_is_told_in_one_query(stores, part, django_assert_num_queries):
    made.sent(stores, part, "10", label="card 26-0031")
    actions.add_to_order(by=stores, supplier_id=made.mailable(stores).pk, part_id=part.pk, quantity=D(3))  # a draft
    with django_assert_num_queries(1):
        (coming,) = queries.coming([part.pk])
    assert (coming.quantity, coming.label, coming.due_on) == (D(10), "card 26-0031", clock.today() + timedelta(days=5))


@pytest.mark.parametrize("path", ["purchase-orders/", "purchase-order-lines/"])
def test_lists_ask_as_often_for_many_as_for_few(api, stores, path):
    client = api(stores)

    def count():
        with CaptureQueriesContext(connection) as asked:
            assert client.get(path).status_code == 200
        return len(asked)

    for n in range(2):
        made.sent(stores, made_parts.part(stores, f"A-{n}", "A"))
    few = count()
    for n in range(2, 6):
        made.sent(stores, made_parts.part(stores, f"A-{n}", "A"))
    assert count() == few


def test_the_office_reads_and_a_mechanic_does_not(api, office, mechanic, stores, part):
    order = made.sent(stores, part)
    assert api(office).get(f"purchase-orders/{order.pk}/").status_code == 200
    assert api(office).post(f"purchase-orders/{order.pk}/close/", {"reason": "x"}).status_code == 403
    for path in ("purchase-orders/", "purchase-order-lines/", "offers/"):
        assert api(mechanic).get(path).status_code == 403


def test_an_order_is_repeated_only_once(api, stores, part, seller, boxed):
    client = api(stores)
    body = {"supplier_id": seller.pk, "part_id": part.pk, "quantity": "10"}
    answers = [client.post("purchase-order-lines/", body, key="b7c1e1aa-11") for _ in range(2)]
    assert answers[0].content == answers[1].content
    assert OrderLine.objects.get().packages == 2
