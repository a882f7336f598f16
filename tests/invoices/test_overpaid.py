"""Money that is more than what is owed: said, set against a later invoice, paid back."""

import uuid
from datetime import date
from decimal import Decimal as D

import pytest
from django.test import Client
from django.utils import timezone

from jobs.invoices import actions, queries
from jobs.invoices.models import Allocation, Payment
from shop.kernel import clock
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments

from .test_invoices_pages import words

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner)
    return client


def send(client, path, **data):
    return client.post(path, {"once": str(uuid.uuid4()), **data}, follow=True)


def typed(invoice, amount: str, share: str = "") -> dict[str, str]:
    return {
        "amount": amount, "method": "transfer", "received_on": clock.today().isoformat(), f"invoice_{invoice.pk}": share,
    }  # fmt: skip


def test_too_much_is_said_with_what_can_be_done(browser, owner):
    invoice = make.sale(owner)  # 123.00
    pay = f"/customers/{invoice.customer_id}/pay/?invoice={invoice.pk}"
    said = words(send(browser, pay, **typed(invoice, "150", "123")))
    assert "€27.00 of it settles nothing and stands to the credit of Ebbing Oyster Fishery" in said
    assert "pay it back" in said
    exact = make.sale(owner, invoice.customer, "10")
    assert "settles nothing and" not in words(
        send(browser, f"/customers/{invoice.customer_id}/pay/?invoice={exact.pk}", **typed(exact, "12.30", "12.30"))
    )


def test_credit_is_set_against_a_later_invoice_once(browser, owner):
    first = make.sale(owner)
    paid = make.pay(owner, first, "150", "123")
    later = make.sale(owner, first.customer, "100")
    assert "€27.00 was paid or credited and settles nothing yet" in words(browser.get(f"/invoices/{later.pk}/"))
    account = browser.get(f"/customers/{first.customer_id}/account/").content.decode()
    assert f"/payments/{paid.pk}/allocate/" in account
    page = browser.get(f"/payments/{paid.pk}/allocate/").content.decode()
    assert 'value="27.00"' in page  # as much as there is
    refused = send(browser, f"/payments/{paid.pk}/allocate/", **{f"invoice_{later.pk}": "27.01"})
    assert refused.status_code == 422
    assert "Only 27.00 EUR is there to allocate" in words(refused)
    none = send(browser, f"/payments/{paid.pk}/allocate/")
    assert (none.status_code, "Name at least one invoice" in words(none)) == (422, True)
    assert not Allocation.objects.filter(invoice=later).exists()
    assert send(browser, f"/payments/{paid.pk}/allocate/", **{f"invoice_{later.pk}": "27"}).status_code == 200
    assert queries.outstanding(later.__class__.objects.get(pk=later.pk)) == D("96.00")
    assert queries.unused(paid) == 0
    assert "can be set against open invoices" in words(browser.get(f"/payments/{paid.pk}/allocate/"))


def test_a_credit_note_of_a_paid_invoice_is_set_against_another(browser, owner):
    first = make.sale(owner)
    make.pay(owner, first, "123")
    note = actions.credit_note(first.pk, by=owner, reason="Wrong part")
    later = make.sale(owner, first.customer, "50")
    assert f"/invoices/{note.pk}/allocate/" in browser.get(f"/invoices/{note.pk}/").content.decode()
    send(browser, f"/invoices/{note.pk}/allocate/", **{f"invoice_{later.pk}": "61.50"})
    assert queries.free_credit(first.customer_id) == D("61.50")
    assert browser.get(f"/invoices/{later.pk}/allocate/").status_code == 302  # no credit note


def test_the_history_says_amounts_as_money(browser, api, owner):
    invoice = make.issued(owner)
    make.pay(owner, invoice, str(invoice.total_gross))
    note = actions.credit_note(invoice.pk, by=owner, reason="Wrong part")
    said = f"Credited {invoice.number} with {note.number}, {note.total_gross:.2f}"
    card = invoice.card_id
    for path in (f"/invoices/{note.pk}/", f"/cards/{card}/", f"/cards/{card}/history/"):
        told = words(browser.get(path))
        assert said in told
        assert f"{note.total_gross:.2f}0" not in told
    assert said in [x["what"] for x in api(owner).get(f"cards/{card}/history/").json()["items"]]


def test_what_went_back_is_not_used_again(api, owner):
    first = make.sale(owner)
    paid = make.pay(owner, first, "150", "123")
    later = make.sale(owner, first.customer, "100")
    client = api(owner)
    assert client.get(f"payments/{paid.pk}/").json()["left"] == "27.00"
    back = {"customer_id": first.customer_id, "amount": "20", "method": "cash", "paid_on": clock.today().isoformat()}
    assert client.post("refunds/", back).status_code == 201
    more = client.post(f"payments/{paid.pk}/allocate/", {"allocations": [{"invoice_id": later.pk, "amount": "7.01"}]})
    assert more.json()["type"] == "/api/problems/over-allocated"
    assert client.post(
        f"payments/{paid.pk}/allocate/", {"allocations": [{"invoice_id": later.pk, "amount": "7"}]}
    ).status_code == 200  # fmt: skip
    assert queries.free_credit(first.customer_id) == 0
    assert queries.unused(Payment.objects.get(amount=-20)) == 0


def test_money_goes_back_no_sooner_than_it_came(api, owner):
    """From the day on which so much stands to their credit for good: not while a refund, or an invoice, has it."""
    with clock.at(moments.away(-60)):
        first = make.sale(owner)
        make.pay(owner, first, "150", "123")  # 27
    with clock.at(moments.away(-40)):
        actions.refund(by=owner, customer_id=first.customer_id, amount=D(20), method="cash", paid_on=clock.today())  # 7
    with clock.at(moments.away(-20)):
        came, since = make.pay(owner, first, "30", "0"), clock.today()  # 37
    client = api(owner)

    def day(days: int) -> date:
        return timezone.localdate(moments.away(days))

    def back(amount: str, on: date) -> tuple[int, str]:
        body = {"customer_id": first.customer_id, "amount": amount, "method": "transfer", "paid_on": on.isoformat()}
        answer = client.post("refunds/", body)
        return answer.status_code, str(answer.json().get("errors"))

    for early in (day(-50), day(-21)):
        status, told = back("27", early)
        assert status == 400
        assert "/paid_on" in told
        assert f"27.00 EUR stand to this customer's credit since {since.isoformat()} only" in told
    assert back("7", day(-40))[0] == 201
    assert back("27", since)[0] == 201
    assert came.received_on == since
    assert queries.free_credit(first.customer_id) == 3


def test_the_lists_of_credit_stay_flat(browser, owner, django_assert_max_num_queries):
    customer = quote.customer()
    paid = make.pay(owner, make.sale(owner, customer), "200", "123")
    with django_assert_max_num_queries(30) as few:
        browser.get(f"/payments/{paid.pk}/allocate/")
    for _ in range(4):
        make.sale(owner, customer, "20")
    with django_assert_max_num_queries(len(few.captured_queries)):
        browser.get(f"/payments/{paid.pk}/allocate/")
