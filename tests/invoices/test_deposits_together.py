"""Deposits of one card together: never more than what is agreed, and to the cent what it comes to."""

from decimal import Decimal as D

import pytest

from jobs.invoices import actions
from shop.business import actions as business
from shop.kernel.errors import BadInput, NeedsOverride, NotAllowed
from tests.factories import estimates as quote
from tests.factories import invoices as make

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
