"""A discount on the whole of an estimate is off what was on that estimate, and off nothing else."""

from decimal import Decimal as D

import pytest

from jobs.estimates import actions as estimates
from jobs.invoices import actions, checking
from jobs.invoices.models import Invoice
from shop.business import actions as business
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(owner):
    """Ten hours at 100 less 10 % agreed, and done."""
    quote.shop(owner)
    business.edit_profile(None, by=owner, sundries_percent=D(0))
    card = quote.card(owner)
    stage = quote.stage(owner, card, standard_hours=D(10))
    draft = quote.draft(owner, card)
    estimates.edit_line(draft.lines.get().pk, None, by=owner, unit_price=D(100))
    estimates.edit_estimate(draft.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    issued = estimates.issue_estimate(draft.pk, None, by=owner)
    quote.say(owner, issued, {x.pk: True for x in issued.lines.all()})
    make.work(owner, stage, "10")
    return card


def discounts(invoice):
    return [(x.discount_percent, x.discount_reason) for x in invoice.lines.order_by("position")]


def test_work_by_the_shops_own_rule_has_none_of_it(api, owner, agreed):
    look = quote.stage(owner, agreed, "Look for the leak", kind="strip", needs_go_ahead=False)
    make.work(owner, look, "2")  # 136.00
    draft = api(owner).post("invoices/", {"card_id": agreed.pk}).json()
    assert (draft["total_net"], draft["discount_percent"]) == ("1036.00", "0")
    assert sorted(discounts(Invoice.objects.get(pk=draft["id"]))) == [(D(0), ""), (D(10), "Old customer")]
    actions.issue_invoice(draft["id"], None, by=owner)
    assert list(checking.wrong()) == []


def test_where_all_of_it_was_agreed_it_is_on_the_whole(owner, agreed):
    draft = make.draft(owner, agreed)
    assert (draft.total_net, draft.discount_percent, draft.discount_reason) == (D(900), D(10), "Old customer")
    assert discounts(draft) == [(D(0), "")]


def test_what_the_owner_charges_all_the_same_has_none_of_it(api, owner, agreed):
    more = quote.stage(owner, agreed, "Free the seized bolts", needs_go_ahead=False)
    draft = make.draft(owner, agreed)
    make.work(owner, more, "2")
    more.needs_go_ahead = True
    more.save(update_fields=["needs_go_ahead"])
    body = {"kind": "labour", "stage_id": more.pk, "reason": "It had to be"}
    assert api(owner).post(f"invoices/{draft.pk}/charge-unagreed/", body).status_code == 201
    draft.refresh_from_db()
    assert (draft.total_net, draft.discount_percent, draft.discount_reason) == (D(1036), D(0), "")
    assert sorted(discounts(draft)) == [(D(0), ""), (D(10), "Old customer")]


def test_nor_has_a_line_by_hand(api, owner, agreed):
    draft = make.draft(owner, agreed)
    body = {"invoice_id": draft.pk, "text": "Bolts", "unit_price": "36", "reason": "Forgotten"}
    assert api(owner).post("invoice-lines/", body).status_code == 201
    assert Invoice.objects.get(pk=draft.pk).total_net == D(936)
    actions.add_line(draft.pk, None, by=owner, text="Nuts", unit_price=D(4), reason="Forgotten, too")
    assert actions.issue_invoice(draft.pk, None, by=owner).total_net == D(940)


def test_one_that_was_set_on_the_draft_is_off_all_of_it(owner, agreed):
    draft = make.draft(owner, agreed)
    actions.edit_invoice(draft.pk, None, by=owner, discount_percent=D(50), discount_reason="Late")
    actions.add_line(draft.pk, None, by=owner, text="Bolts", unit_price=D(36), reason="Forgotten")
    assert Invoice.objects.get(pk=draft.pk).total_net == D(518)
