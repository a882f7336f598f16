"""A whole job in a currency without minor units and in one with three decimals (ISO 4217), from rates to the paper."""

from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.books import gathering
from jobs.invoices import actions, einvoice, printing
from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as made
from tests.properties.test_money import words

pytestmark = pytest.mark.django_db

# 4 h and 1.25 h at 68, two ring sets at 86.40, 2.5 % of the three for sundries; 23 % VAT on the sum, each rounded once
WHOLE = {
    "JPY": (["272", "85", "173", "13"], "543", "125", "668"),
    "KWD": (["272.000", "85.000", "172.800", "13.245"], "543.045", "124.900", "667.945"),
}


@pytest.fixture(params=sorted(WHOLE))
def currency(request, monkeypatch) -> str:
    monkeypatch.setitem(quote.PROFILE, "currency", request.param)
    return request.param


def test_job_is_billed_to_the_minor_unit(owner, currency):
    nets, net, tax, gross = WHOLE[currency]
    invoice = made.issued(owner)
    assert [row.net for row in invoice.lines.all()] == [D(x) for x in nets]
    assert (invoice.total_net, invoice.total_tax, invoice.total_gross) == (D(net), D(tax), D(gross))
    browser = Client()
    browser.force_login(owner)
    page, paper = words(browser.get(f"/invoices/{invoice.pk}/")), reading.text(printing.pdf(invoice))
    for figure in (*nets, net, tax, gross):
        assert figure in page, figure
        assert figure in paper, figure
    assert f"Total with VAT {currency} {gross}" in paper


def test_it_is_paid_to_the_minor_unit_and_no_further(owner, currency):
    invoice = made.issued(owner)
    half = {"JPY": "334", "KWD": "333.945"}[currency]
    with pytest.raises(BadInput):
        made.pay(owner, invoice, {"JPY": "0.5", "KWD": "0.0005"}[currency])
    made.pay(owner, invoice, half)
    made.pay(owner, invoice, str(D(WHOLE[currency][3]) - D(half)))
    invoice.refresh_from_db()
    assert invoice.settled_at is not None
    today = clock.today()
    for entry in gathering.entries(today, gathering.month_after(today)):
        assert sum(line.amount for line in entry.lines) == 0
        assert entry.currency == currency


def test_credited_whole_it_comes_to_nothing(owner, currency):
    invoice = made.issued(owner)
    note = actions.credit_note(invoice.pk, by=owner, reason="Billed twice")
    assert (note.total_net, note.total_tax, note.total_gross) == tuple(D(x) for x in WHOLE[currency][1:])


def test_electronic_invoice_where_the_standard_allows_it(owner, currency):
    """EN 16931, BR-DEC-09 to -25: amounts have at most two decimals."""
    invoice = made.issued(owner)
    if currency == "KWD":
        with pytest.raises(Refused, match="at most two decimals"):
            einvoice.cii(invoice)
    else:
        assert b">668<" in einvoice.cii(invoice)
