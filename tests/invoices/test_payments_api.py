"""Credit notes, payments and what they settle, over the API."""

from decimal import Decimal as D

import pytest

from jobs.invoices.models import Invoice, Payment
from tests.factories import estimates as quote
from tests.factories import invoices as make

from .test_invoices_api import today

pytestmark = pytest.mark.django_db


def test_credit_in_parts_comes_to_the_invoice_exactly(api, owner):
    customer = quote.customer()
    invoice = make.sale(owner, customer, "0.335", quantity=D(3), unit="C62", kind="part")  # 1.005, rounded to 1.01
    client = api(owner)
    line = invoice.lines.get().pk
    notes = [
        client.post(
            f"invoices/{invoice.pk}/credit/", {"reason": "Returned", "lines": [{"line_id": line, "quantity": "1"}]}
        ).json()
        for _ in range(3)
    ]
    assert [n["number"][-4:] for n in notes] == ["0001", "0002", "0003"]
    assert sum(D(n["total_net"]) for n in notes) == invoice.total_net == D("1.01")
    assert sum(D(n["due"]) for n in notes) == invoice.total_gross == D("1.24")
    assert client.get(f"invoices/{invoice.pk}/").json()["state"] == "credited"
    for refused in (
        client.post(f"invoices/{invoice.pk}/credit/", {"reason": "Again"}),
        client.post(f"invoices/{notes[0]['id']}/credit/", {"reason": "Of a credit note"}),
    ):
        assert refused.status_code == 409
    more = client.post(f"invoices/{invoice.pk}/credit/", {"reason": "x", "lines": [{"line_id": line, "quantity": "1"}]})
    assert more.json()["type"] == "/api/problems/more-than-invoiced"
    assert Invoice.objects.filter(kind="credit").count() == 3


def test_credit_of_a_paid_invoice_stands_to_the_customers_credit_and_can_go_back(api, owner):
    customer = quote.customer()
    invoice = make.sale(owner, customer)  # 123.00
    make.pay(owner, invoice, "123")
    client = api(owner)
    note = client.post(f"invoices/{invoice.pk}/credit/", {"reason": "Wrong part"}).json()
    assert note["outstanding"] == "-123.00"
    assert client.get(f"balances/{customer.pk}/").json()["credit"] == "123.00"
    other = make.sale(owner, customer, "50")  # 61.50
    moved = client.post(
        f"invoices/{note['id']}/allocate/", {"allocations": [{"invoice_id": other.pk, "amount": "61.50"}]}
    )
    assert moved.status_code == 200, moved.content
    assert client.get(f"invoices/{other.pk}/").json()["state"] == "credited"
    back = {"customer_id": customer.pk, "amount": "61.50", "method": "transfer", "paid_on": today()}
    more = client.post("refunds/", back | {"amount": "61.51"}).json()
    assert more["type"] == "/api/problems/more-than-credit"
    assert "Only 61.50 EUR stand" in more["detail"]
    assert client.post("refunds/", back).status_code == 201
    assert client.get(f"balances/{customer.pk}/").json()["balance"] == "0.00"
    # the credit is used up: neither allocated nor paid back again
    third = make.sale(owner, customer, "10")
    again = client.post(f"invoices/{note['id']}/allocate/", {"allocations": [{"invoice_id": third.pk, "amount": "1"}]})
    assert again.json()["type"] == "/api/problems/over-allocated"


def test_a_payment_is_reversed_by_a_counter_row(api, owner):
    invoice = make.sale(owner)
    paid = make.pay(owner, invoice, "123")
    client = api(owner)
    back = client.post(f"payments/{paid.pk}/reverse/", {"reason": "Bounced"})
    assert (back.status_code, back.json()["amount"], back.json()["reverses_id"]) == (201, "-123.00", paid.pk)
    assert client.get(f"invoices/{invoice.pk}/").json()["outstanding"] == "123.00"
    assert client.get("invoices/", state="open").json()["items"][0]["id"] == invoice.pk
    assert client.post(f"payments/{paid.pk}/reverse/", {"reason": "Again"}).status_code == 409
    assert client.post(f"payments/{back.json()['id']}/reverse/", {"reason": "Of a reversal"}).status_code == 409
    gone = client.post(f"payments/{paid.pk}/allocate/", {"allocations": [{"invoice_id": invoice.pk, "amount": "1"}]})
    assert gone.json()["type"] == "/api/problems/reversed"


def test_an_advance_is_allocated_later(api, owner):
    invoice = make.sale(owner)
    client = api(owner)
    paid = client.post(
        "payments/",
        {"customer_id": invoice.customer_id, "amount": "200", "method": "cash", "received_on": today()},
    ).json()
    assert paid["allocated"] == "0.00"
    body = {"allocations": [{"invoice_id": invoice.pk, "amount": "123"}]}
    assert client.post(f"payments/{paid['id']}/allocate/", body).status_code == 200
    assert client.get(f"payments/{paid['id']}/").json()["allocated"] == "123.00"
    assert client.get("allocations/", payment_id=paid["id"]).json()["items"][0]["invoice_id"] == invoice.pk


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"amount": "0"}, "/amount"),
        ({"amount": "-5"}, "/amount"),
        ({"amount": "0.001"}, "/amount"),
        ({"amount": 5}, "/amount"),
        ({"amount": "NaN"}, "/amount"),
        ({"method": "barter"}, "/method"),
        ({"received_on": "2999-01-01"}, "/received_on"),
        ({"received_on": "1999-01-01"}, "/received_on"),
        ({"allocations": [{"invoice_id": 999999, "amount": "1"}]}, "/allocations"),
    ],
)
def test_a_payment_that_cannot_be(api, owner, change, pointer):
    invoice = make.sale(owner)
    body = {"customer_id": invoice.customer_id, "amount": "10", "method": "cash", "received_on": today()}
    answer = api(owner).post("payments/", body | change)
    assert answer.status_code == 400, answer.content
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not Payment.objects.exists()


def test_nobody_elses_invoice_is_paid(api, owner):
    mine, theirs = make.sale(owner), make.sale(owner)
    answer = api(owner).post(
        "payments/",
        {
            "customer_id": mine.customer_id, "amount": "10", "method": "cash", "received_on": today(),
            "allocations": [{"invoice_id": theirs.pk, "amount": "10"}],
        },
    )  # fmt: skip
    assert (answer.status_code, answer.json()["type"]) == (400, "/api/problems/unknown-invoice")
