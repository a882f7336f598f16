"""What a letter asks for beyond its invoices, once it is paid."""

from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.accounts import actions, queries
from jobs.invoices import queries as owed
from shop.business import actions as business
from shop.kernel import clock
from tests.factories import accounts as late
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments
from tests.invoices.test_invoices_pages import words

pytestmark = pytest.mark.django_db


def test_fee_and_interest_that_were_paid_are_billed_and_settled_by_their_credit(owner, api):
    """As the page of letters says: on an invoice without a card, outside VAT, with the credit set against it."""
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, remind_fee_2=D(5), interest_percent=D(8), interest_from=2)
    customer, browser = quote.customer(), Client()
    browser.force_login(owner)
    row = late.overdue(owner, customer, days=20)
    actions.send_reminder(by=owner, customer_id=customer.pk)
    with clock.at(moments.away(14)):
        letter = actions.send_reminder(by=owner, customer_id=customer.pk)
        paid = make.pay(owner, row, "128.92", "123")
        assert "until it is billed: on an invoice without a card" in words(browser.get("/accounts/letters/"))
        client = api(owner)
        bill = client.post("invoices/", {"customer_id": customer.pk}).json()["id"]
        line = {
            "invoice_id": bill,
            "text": f"Fee and interest of {letter.number}",
            "unit_price": "5.92",
            "tax_code": "O",
        }
        assert client.post("invoice-lines/", line).status_code == 201
        issued = client.post(f"invoices/{bill}/issue/").json()
        assert (issued["total_tax"], issued["total_gross"]) == ("0.00", "5.92")
        share = {"allocations": [{"invoice_id": bill, "amount": "5.92"}]}
        assert client.post(f"payments/{paid.pk}/allocate/", share).status_code == 200
        assert owed.free_credit(customer.pk) == 0
        assert queries.statement(customer.pk, clock.today(), clock.today()).closing == 0
