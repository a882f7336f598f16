"""Paying early with a discount, and paying cash that is rounded."""

import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.invoices import actions, checking, einvoice, printing, queries
from jobs.invoices.models import Invoice, Payment
from shop.business import actions as business
from shop.documents.formatting import Formatter
from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused
from shop.ui.formats import day
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments

from .test_invoices_pages import words

pytestmark = pytest.mark.django_db


@pytest.fixture
def terms(owner):
    quote.shop(owner)

    def set_(**values):
        return business.edit_money_terms(None, by=owner, **values)

    return set_


def two_rates(owner, customer=None) -> Invoice:
    """100.00 at 23 % and 200.00 at 13.5 %: 350.00 with VAT."""
    row = actions.draft_invoice(by=owner, customer_id=(customer or quote.customer()).pk)
    for price, code in (("100", "S23"), ("200", "S13")):
        actions.add_line(row.pk, None, by=owner, text="Exchange engine", unit_price=D(price), tax_code=code)
    return actions.issue_invoice(row.pk, None, by=owner)


def pay(owner, invoice, amount: str, *, early=True, method="transfer", days=0, share: str | None = None) -> Payment:
    return actions.record_payment(
        by=owner, customer_id=invoice.customer_id, amount=D(amount), method=method,
        received_on=clock.today() - timedelta(days=days), allocations={invoice.pk: D(share or amount)},
        early=[invoice.pk] if early else [],
    )  # fmt: skip


def fresh(row: Invoice) -> Invoice:
    found = queries.invoice(row.pk)
    assert found is not None
    return found


def test_the_discount_is_credited_by_rate(owner, terms):
    terms(early_percent=D(2), early_days=10)
    invoice = two_rates(owner)
    assert (invoice.early_percent, invoice.early_until) == (D(2), clock.today() + timedelta(days=10))
    with pytest.raises(BadInput, match=r"With 2 % off, 343.00 EUR"):
        pay(owner, invoice, "342.99")
    assert not Payment.objects.exists()
    pay(owner, invoice, "343")
    note = Invoice.objects.get(kind="credit")
    assert {(g["percent"], D(g["base"]), D(g["tax"])) for g in note.tax_groups} == {
        ("23", D(2), D("0.46")), ("13.5", D(4), D("0.54")),
    }  # fmt: skip
    assert note.total_gross + note.rounding == 7
    assert queries.outstanding(fresh(invoice)) == 0
    assert list(checking.wrong()) == []


def test_cents_of_the_discount(owner, terms):
    """What was announced is what is credited; the cents VAT by rate differs by stand as rounding."""
    terms(early_percent=D("2.5"), early_days=10)
    invoice = make.sale(owner, price="33.33")  # 41.00 with VAT, 1.03 off (1.025), by rate 0.83 + 0.19 = 1.02
    pay(owner, invoice, "39.97")
    note = Invoice.objects.get(kind="credit")
    assert (note.total_net, note.total_tax, note.rounding) == (D("0.83"), D("0.19"), D("0.01"))
    assert list(checking.wrong()) == []


def test_the_page_of_a_credit_note_asks_for_nothing(owner, terms):
    terms(early_percent=D("2.5"), early_days=10)
    pay(owner, make.sale(owner, price="33.33"), "39.97")
    note = Invoice.objects.get(kind="credit")
    browser = Client()
    browser.force_login(owner)
    said = words(browser.get(f"/invoices/{note.pk}/"))
    assert "Credited €1.03" in said
    assert "To pay" not in said


def test_too_late_or_not_offered(owner, terms):
    plain = make.sale(owner)
    with pytest.raises(Refused, match="offers no discount"):
        pay(owner, plain, "120.54")
    terms(early_percent=D(2), early_days=3)
    invoice = make.sale(owner)
    with clock.at(moments.away(4)):
        with pytest.raises(Refused, match="the rest stays owed") as told:
            pay(owner, invoice, "120.54")
        assert told.value.code == "too-late-for-discount"
        assert pay(owner, invoice, "120.54", days=1).amount == D("120.54")  # it came in time


def test_one_that_was_credited_in_part(owner, terms):
    terms(early_percent=D(2), early_days=3)
    invoice = two_rates(owner)
    first = invoice.lines.first()
    actions.credit_note(invoice.pk, by=owner, reason="Half", quantities={first.pk: D("0.5")})
    with pytest.raises(Refused, match="credited in part"):
        pay(owner, invoice, "280")


def test_credited_after_the_discount_it_comes_to_nothing_exactly(owner, terms):
    terms(early_percent=D("2.5"), early_days=10)
    invoice = two_rates(owner)
    pay(owner, invoice, "341.25")
    part = actions.credit_note(invoice.pk, by=owner, reason="Too much", quantities={invoice.lines.first().pk: D("0.5")})
    assert part.total_net == D("48.75")  # of what was paid for it, not of its price
    actions.credit_note(invoice.pk, by=owner, reason="All of it")
    notes = Invoice.objects.filter(credits=invoice)
    assert sum(n.total_net for n in notes) == invoice.total_net
    assert sum(n.total_gross + n.rounding for n in notes) == D(350)
    assert queries.free_credit(invoice.customer_id) == D("341.25")
    assert list(checking.wrong()) == []


def test_terms_stand_on_paper_and_in_the_electronic_invoice(owner, terms):
    terms(early_percent=D(2), early_days=10)
    invoice = two_rates(owner)
    paper = reading.text(printing.pdf(invoice))
    assert "2 % discount, 7.00 EUR" in paper
    assert "343.00 EUR is to pay" in paper
    until = Formatter("en", "EUR").day(clock.today() + timedelta(days=10))
    assert f"2 % discount (7.00 EUR) if paid by {until}." in einvoice.cii(invoice).decode()
    invoice.seller["country"] = "DE"
    assert "#SKONTO#TAGE=10#PROZENT=2.00#" in einvoice.terms(invoice, [])["BT-20"]


def test_a_german_invoice_says_its_terms_in_german_in_both(owner, terms):
    terms(early_percent=D("2.5"), early_days=10)
    invoice = two_rates(owner, quote.customer(language="de", country="DE"))
    until = Formatter("de", "EUR").day(clock.today() + timedelta(days=10))
    assert einvoice.terms(invoice, [])["BT-20"] == f"2,5 % Skonto (8,75 EUR) bei Zahlung bis {until}."
    payment = pay(owner, invoice, "341.25")
    note = Invoice.objects.get(kind="credit")
    assert note.reason == f"2,5 % Skonto auf {invoice.number}"
    actions.reverse_payment(payment.pk, by=owner, reason="Platzte")
    assert Invoice.objects.get(kind="debit").reason.startswith(f"2,5 % Skonto auf {invoice.number} nachberechnet")
    assert einvoice.terms(note, [])["BT-20"] == "Wird mit Offenem verrechnet oder zurückgezahlt."


def test_cash_is_rounded_both_ways(owner, terms):
    terms(cash_step=D("0.05"))
    down = make.sale(owner, price="10.02")  # 12.32
    pay(owner, down, "12.30", early=False, method="cash", share="12.32")
    up = make.sale(owner, down.customer, price="10.03")  # 12.34
    kept = pay(owner, up, "12.35", early=False, method="cash", share="12.34")
    assert [p.amount for p in Payment.objects.filter(method="rounding").order_by("id")] == [D("0.02"), D("-0.01")]
    assert [queries.outstanding(fresh(x)) for x in (down, up)] == [0, 0]
    assert queries.free_credit(down.customer_id) == 0
    assert list(checking.wrong()) == []
    with pytest.raises(Refused, match="goes with it"):
        actions.reverse_payment(kept.rounding.pk, by=owner, reason="Typed twice")
    actions.reverse_payment(kept.pk, by=owner, reason="Typed twice")
    assert queries.outstanding(fresh(up)) == D("12.34")
    assert queries.free_credit(down.customer_id) == 0


def test_only_cash_and_only_to_the_step(owner, terms):
    terms(cash_step=D("0.05"))
    invoice = make.sale(owner, price="10.02")  # 12.32
    for amount, method in (("12.30", "transfer"), ("12.25", "cash"), ("12.31", "cash")):
        with pytest.raises(BadInput):
            pay(owner, invoice, amount, early=False, method=method, share="12.32")
    with pytest.raises(BadInput):
        pay(owner, invoice, "12.32", early=False, method="rounding")
    assert not Payment.objects.exists()
    pay(owner, invoice, "12.35", early=False, method="transfer", share="12.32")
    assert queries.free_credit(invoice.customer_id) == D("0.03")  # by transfer it stands to their credit


def test_over_pages_and_api(owner, api, terms):
    terms(early_percent=D(2), early_days=10, cash_step=D("0.05"))
    browser = Client()
    browser.force_login(owner)
    invoice = two_rates(owner)
    page = f"/customers/{invoice.customer_id}/pay/?invoice={invoice.pk}"
    shown = words(browser.get(page))
    until = day(clock.today() + timedelta(days=10)).replace("\u00a0", " ")
    assert f"with 2 % off, €343.00, as it came by {until}" in shown
    assert "Cash is rounded to €0.05" in shown
    form = {
        "once": str(uuid.uuid4()), "amount": "343", "method": "transfer", "received_on": clock.today().isoformat(),
        f"invoice_{invoice.pk}": "343", f"early_{invoice.pk}": "on",
    }  # fmt: skip
    assert browser.post(page, form | {"amount": "300", f"invoice_{invoice.pk}": "300"}).status_code == 422
    assert browser.post(page, form | {"once": str(uuid.uuid4())}).status_code == 303
    assert "% off by" in words(browser.get(f"/invoices/{invoice.pk}/"))
    other = two_rates(owner, invoice.customer)
    body = {
        "customer_id": other.customer_id, "amount": "343", "method": "transfer", "received_on": clock.today().isoformat(),
        "allocations": [{"invoice_id": other.pk, "amount": "343", "early": True}],
    }  # fmt: skip
    client = api(owner)
    assert client.post("payments/", body).status_code == 201
    read = client.get(f"invoices/{other.pk}/").json()
    assert (read["outstanding"], read["early_percent"]) == ("0.00", "2")
    settings = client.get("payment-terms/")
    assert settings.json()["early_days"] == 10
