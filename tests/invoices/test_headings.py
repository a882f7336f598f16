"""What stands above the lines of a document that only states sums, and what the shop itself writes in another language."""

from decimal import Decimal as D

import pytest
from django.test import Client
from django.urls import reverse

from jobs.accounts import actions as accounts
from jobs.cards import actions as cards
from jobs.estimates import actions as estimates
from jobs.estimates import printing as quoted
from jobs.invoices import actions, printing
from jobs.invoices.models import Invoice
from jobs.machines import actions as machines
from jobs.replies import actions as replies
from jobs.replies import tokens
from shop.business import actions as business
from shop.kernel import clock
from tests.documents import reading
from tests.factories import charges, moments
from tests.factories import estimates as quote
from tests.factories import invoices as made
from tests.properties.test_money import words

pytestmark = pytest.mark.django_db


def test_a_deposit_and_a_discount_stand_under_no_kind_of_goods(owner):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=8)
    card, *_ = quote.job(owner)
    quote.agreed(owner, card)
    deposit = made.deposit(owner, card)
    sold = made.sale(owner, card.customer)
    due = sold.total_gross * D("0.98")
    actions.record_payment(
        by=owner, customer_id=sold.customer_id, amount=due, method="transfer", received_on=clock.today(),
        allocations={sold.pk: due}, early=[sold.pk],
    )  # fmt: skip
    given = Invoice.objects.get(credits=sold)
    browser = Client()
    browser.force_login(owner)
    for row, heading in ((deposit, "Deposit invoice"), (given, "Credit note")):
        paper, page = reading.text(printing.pdf(row)), words(browser.get(f"/invoices/{row.pk}/"))
        assert "Sundries" not in paper + page
        assert f"{heading} " in page
        assert row.lines.get().text in paper
    assert "Sundries" in reading.text(printing.pdf(sold)), "a line by hand is what its kind says"


def test_what_the_shop_writes_itself_is_in_the_language_of_the_document(owner):
    card, *_ = quote.job(owner, quote.customer(language="de", country="DE"))
    estimate = estimates.issue_estimate(quote.draft(owner, card).pk, None, by=owner)
    paper = reading.text(quoted.pdf(estimate))
    assert "Klein- und Verbrauchsmaterial" in paper
    assert "Sundries" not in paper


@pytest.mark.parametrize(("language", "heading"), [("en", "Storage"), ("de", "Standgeld")])
def test_storage_stands_under_its_own_heading(owner, language, heading):
    card = made.finished(owner, quote.customer(language=language))
    business.edit_money_terms(None, by=owner, storage_per_day=D(4), storage_free_days=14)
    cards.finish_card(card.pk, by=owner)
    with clock.at(moments.away(20)):
        draft = accounts.bill_storage(card.pk, by=owner)
        paper = reading.text(printing.pdf(draft))
    assert f"Netto EUR {heading} 1.1" in paper or f"Net EUR {heading} 1.1" in paper
    assert "Sundries" not in paper
    assert "Verbrauchsmaterial" not in paper


def test_a_discount_says_that_core_deposits_are_apart(owner):
    browser = Client()
    browser.force_login(owner)
    said = "not on core deposits"
    found = quote.draft(owner, charges.job(owner)[0])
    estimates.edit_estimate(found.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    found = estimates.issue_estimate(found.pk, None, by=owner)
    paper = reading.text(quoted.pdf(found))
    assert f"Old customer ({said})" in paper
    link = replies.make_link(found.pk, by=owner)
    assert said in words(Client().get(reverse("replies:document", args=[tokens.token(link.nonce, found.pk)])))
    plain = quote.draft(owner, quote.job(owner)[0])
    estimates.edit_estimate(plain.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    assert said not in reading.text(quoted.pdf(plain))


def test_a_german_paper_has_commas_everywhere(owner):
    card, *_ = quote.job(owner, quote.customer(language="de", country="DE"))
    machines.read_usage(card.machine_id, by=owner, value=D("1234.5"))
    found = quote.draft(owner, card)
    estimates.add_line(
        found.pk, None, by=owner, text="Reiniger", unit_price=D(20), tax_code="S13", discount_percent=D("12.5"),
        discount_reason="Aktion",
    )  # fmt: skip
    estimates.edit_estimate(found.pk, None, by=owner, discount_percent=D("2.5"), discount_reason="Stammkunde")
    found = estimates.issue_estimate(found.pk, None, by=owner)
    quote.say(owner, found, {x.pk: True for x in found.lines.all()})
    asked = actions.draft_deposit(by=owner, card_id=card.pk, percent=D("33.333"))
    paper, deposit = reading.text(quoted.pdf(found)), reading.text(printing.pdf(asked))
    for words_ in ("Rabatt auf 13,5 % USt: Stammkunde", "12,5 %: Aktion", "1.234,5 h"):
        assert words_ in paper
    assert "Anzahlung, 33,333 % der vereinbarten Summe" in deposit
    assert "1.234,5 h" in deposit


@pytest.mark.parametrize(
    ("kind", "language", "said"),
    [
        ("estimate", "de", "Unser Kostenvoranschlag"), ("quotation", "de", "Unser Angebot"),
        ("estimate", "en", "Our estimate"), ("quotation", "en", "Our quotation"),
        ("additional", "de", "Unsere Mehrarbeitsanzeige"),
    ],
)  # fmt: skip
def test_an_invoice_calls_what_was_agreed_by_its_name(owner, kind, language, said):
    card, fit, *_ = quote.job(owner, quote.customer(language=language))
    agreed = quote.issued(owner, card, kind=kind)
    quote.say(owner, agreed, {x.pk: True for x in agreed.lines.all()})
    made.work(owner, fit, "3.5")
    cards.finish_stage(fit.pk, by=owner)
    assert f"{said} {agreed.number}" in reading.text(printing.pdf(made.draft(owner, card)))
