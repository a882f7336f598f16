"""Deposits of one card together: never more than what is agreed, and to the cent what it comes to."""

from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.invoices import actions, checking, einvoice, prepaid, printing, queries
from shop.business import actions as business
from shop.kernel.errors import BadInput, NeedsOverride, NotAllowed
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make

from .test_invoices_pages import send, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(owner):
    """A card with so much agreed at a firm price, at 23 %."""

    def make_it(net: str):
        quote.shop(owner)
        business.edit_profile(None, by=owner, sundries_percent=D(0))
        card = quote.card(owner)
        stage = quote.stage(owner, card, standard_hours=D(1))
        found = quote.draft(owner, card, kind="quotation")
        quote.actions.edit_line(found.lines.get().pk, None, by=owner, unit_price=D(net))
        found = quote.actions.issue_estimate(found.pk, None, by=owner)
        quote.say(owner, found, {x.pk: True for x in found.lines.all()})
        return card, stage

    return make_it


def test_a_second_deposit_asks_for_what_is_left_at_most(api, owner, agreed):
    card, _ = agreed("1000")
    first = make.deposit(owner, card, "80")
    refused = api(owner).post("deposits/", {"card_id": card.pk, "percent": "80"})
    assert refused.status_code == 400
    (error,) = refused.json()["errors"]
    assert (error["pointer"], refused.json()["type"].split("/")[-1]) == ("/percent", "more-than-agreed")
    assert error["detail"] == (
        f"Only 1000.00 EUR without VAT is agreed, of which {first.number} asks for 800.00 EUR already. "
        "Ask for at most 200.00 EUR."
    )
    with pytest.raises(BadInput, match=r"Ask for at most 200\.00 EUR"):
        actions.draft_deposit(by=owner, card_id=card.pk, amount=D("200.01"))
    assert make.deposit(owner, card, "20").total_net == D(200)
    with pytest.raises(BadInput, match="Nothing is left to ask for"):
        actions.draft_deposit(by=owner, card_id=card.pk, amount=D("0.01"))
    actions.credit_note(first.pk, by=owner, reason="Asked anew")
    assert make.deposit(owner, card, "80").total_net == D(800)


def test_percentages_of_an_odd_sum_come_to_it(owner, agreed):
    card, _ = agreed("100.05")
    assert [make.deposit(owner, card, "50").total_net for _ in range(2)] == [D("50.03"), D("50.02")]


def test_what_was_agreed_may_have_become_less_when_it_is_issued(owner, office, agreed):
    card, _ = agreed("1000")
    make.deposit(owner, card, "60")
    draft = actions.draft_deposit(by=owner, card_id=card.pk, percent=D(40))
    actions.add_line(draft.pk, None, by=owner, text="A bit more", unit_price=D(1), reason="They offered")
    with pytest.raises(NeedsOverride, match=r"asks for 600.00 EUR already") as told:
        actions.issue_invoice(draft.pk, None, by=office)
    assert told.value.code == "more-than-agreed"
    with pytest.raises(NotAllowed):
        actions.issue_invoice(draft.pk, None, by=office, override="They offered")
    assert actions.issue_invoice(draft.pk, None, by=owner, override="They offered").total_net == D(401)


def half_and_half(owner, card, stage):
    """100.06 (123.07 with VAT) in two deposits of 61.54, and the final."""
    asked = []
    for _ in range(2):
        asked.append(make.deposit(owner, card, "50"))
        make.pay(owner, asked[-1], "61.54")
    make.work(owner, stage, "1")
    return asked, make.issued(owner, card)


def test_a_cent_of_vat_that_was_rounded_up_goes_back(api, owner, agreed):
    card, stage = agreed("100.06")
    asked, final = half_and_half(owner, card, stage)
    assert (final.total_gross + final.rounding, queries.state_of(final)) == (D(0), "paid")
    browser = Client()
    browser.force_login(owner)
    assert "0.00 and €0.01 VAT at 23 % are left over" in words(browser.get(f"/invoices/{final.pk}/"))
    (left,) = api(owner).get(f"deposits/{asked[1].pk}/left/").json()["items"]
    assert (left["net"], left["tax"]) == ("0.00", "0.01")
    assert api(owner).get(f"deposits/{asked[0].pk}/left/").json()["items"] == []
    page = f"/invoices/{asked[1].pk}/credit/"
    assert page in browser.get(f"/invoices/{asked[1].pk}/").content.decode()
    assert "but for €0.01" in words(browser.get(page))
    assert send(browser, page, {"reason": "VAT was rounded up"}).status_code == 303
    note = asked[1].credit_notes.get()
    assert (note.total_net, note.total_tax, note.rounding, note.payable) == (D(0), D(0), D("0.01"), D("0.01"))
    assert asked[1].number in reading.text(printing.pdf(note))
    assert einvoice.cii(note)
    assert api(owner).get(f"balances/{card.customer_id}/").json()["credit"] == "0.01"
    assert prepaid.left(asked) == []
    assert api(owner).post(f"invoices/{asked[1].pk}/credit/", {"reason": "Again"}).status_code == 409
    assert list(checking.wrong()) == []


def test_a_cent_is_taken_off_where_something_is_still_charged(owner, agreed):
    """More was done in the end: the rest of 0.04 is asked for less the cent."""
    card, stage = agreed("100.06")
    for _ in range(2):
        make.pay(owner, make.deposit(owner, card, "50"), "61.54")
    make.work(owner, stage, "1")
    draft = make.draft(owner, card)
    actions.remove_line(draft.lines.filter(deducts__isnull=False).first().pk, None, by=owner)
    actions.add_line(draft.pk, None, by=owner, text="A washer", unit_price=D("0.04"), reason="Forgotten")
    actions.take_off_deposits(draft.pk, None, by=owner)
    final = actions.issue_invoice(draft.pk, None, by=owner)
    assert (final.total_net, final.total_gross + final.rounding) == (D("0.04"), D("123.12") - D("123.08"))


def test_when_the_final_is_credited_the_cent_is_not_given_twice(owner, agreed):
    card, stage = agreed("100.06")
    asked, final = half_and_half(owner, card, stage)
    actions.credit_note(asked[1].pk, by=owner, reason="VAT was rounded up")
    actions.credit_note(final.pk, by=owner, reason="All wrong")
    assert [(x.net, x.tax) for x in prepaid.left(asked)] == [(D("50.03"), D("11.51")), (D("50.03"), D("11.50"))]
    again = make.issued(owner, card)
    assert again.total_gross + again.rounding == 0
    assert prepaid.left(asked) == []
    assert list(checking.wrong()) == []
