"""A percentage for sundries is of the labour and parts of its own estimate, however many documents were agreed on a card."""

from decimal import Decimal as D

import pytest

from jobs.estimates import actions as estimates
from jobs.invoices import actions
from jobs.machines import actions as machines
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


def notice(owner, card, name: str, hours: str, **more):
    """A stage that was found later, and the issued notice about it."""
    stage = quote.stage(owner, card, name, standard_hours=D(hours), **more)
    return stage, quote.issued(owner, card, kind="additional")


def agree(owner, document):
    quote.say(owner, document, {x.pk: True for x in document.lines.all()})


def sundries(invoice):
    return list(invoice.lines.filter(kind="sundry").order_by("position").values_list("unit_price", "net"))


def test_each_estimate_has_its_own(api, owner):
    """Labour and parts 495.80 and a notice of 136.00: 12.40 and 3.40, as both were agreed."""
    card, fit, test, rings = quote.job(owner)
    first = quote.issued(owner, card)
    agree(owner, first)
    more, second = notice(owner, card, "Free the seized bolts", "2")
    agree(owner, second)
    make.work(owner, fit, "3.5")
    make.use(owner, fit, rings, "2")
    make.work(owner, test, "1.25")
    make.work(owner, more, "2")
    draft = api(owner).post("invoices/", {"card_id": card.pk}).json()
    lines = api(owner).get("invoice-lines/", invoice_id=draft["id"]).json()["items"]
    assert [x["net"] for x in lines if x["kind"] == "sundry"] == ["12.40", "3.40"]
    assert D(draft["total_net"]) == first.total_net + second.total_net == D("647.60")
    made = actions.issue_invoice(draft["id"], None, by=owner)
    assert made.total_net == D("647.60")


def test_a_firm_quotation_and_a_notice_by_what_is_done(owner):
    card = quote.card(owner)
    main = quote.stage(owner, card, standard_hours=D(50))
    firm = quote.issued(owner, card, kind="quotation")  # 3400 and 85
    agree(owner, firm)
    more, second = notice(owner, card, "Free the seized bolts", "5")  # 340 and 8.50
    agree(owner, second)
    make.work(owner, main, "10")
    make.work(owner, more, "5")
    found = make.draft(owner, card)
    assert [net for _, net in sundries(found)] == [D(85), D("8.50")]
    assert found.total_net == D("3833.50")


def test_a_notice_within_the_limit_is_not_counted_again(owner):
    customer = quote.customer()
    machines.edit_customer(customer.pk, None, by=owner, extra_work_limit=D(300))
    card = quote.card(owner, customer)
    main = quote.stage(owner, card)
    agree(owner, quote.issued(owner, card))  # 238 and 5.95
    more, second = notice(owner, card, "Free the seized bolts", "2")  # 136 and 3.40
    estimates.go_on_within_limit(second.pk, by=owner)
    make.work(owner, main, "3.5")
    make.work(owner, more, "2")
    found = make.draft(owner, card)
    assert sorted(net for _, net in sundries(found)) == [D("3.40"), D("5.95")]


def test_work_on_no_estimate_goes_with_the_first(owner):
    """By the shop's own rule the stage needs no go-ahead: its 68.00 are in the base of the first percentage alone."""
    card = quote.card(owner)
    main = quote.stage(owner, card)
    own = quote.stage(owner, card, "Look for the leak", kind="strip", standard_hours=D(1), needs_go_ahead=False)
    firm = quote.draft(owner, card)
    for line in firm.lines.filter(stage=own):
        estimates.remove_line(line.pk, None, by=owner)
    agree(owner, estimates.issue_estimate(firm.pk, None, by=owner))
    more = quote.stage(owner, card, "Free the seized bolts", standard_hours=D(2))
    second = quote.draft(owner, card, kind="additional")
    for line in second.lines.filter(stage=own):
        estimates.remove_line(line.pk, None, by=owner)
    agree(owner, estimates.issue_estimate(second.pk, None, by=owner))
    for stage, hours in ((main, "3.5"), (own, "1"), (more, "2")):
        make.work(owner, stage, hours)
    found = make.draft(owner, card)
    assert [net for _, net in sundries(found)] == [D("7.65"), D("3.40")]  # 2.5 % of 306 and of 136
    actions.remove_line(found.lines.get(stage=more).pk, None, by=owner)
    assert [net for _, net in sundries(found)] == [D("7.65"), D(0)]


def test_what_was_billed_before_leaves_no_line_of_nothing(owner):
    card, fit, _, _ = quote.job(owner)
    agree(owner, quote.issued(owner, card))
    make.work(owner, fit, "3.5")
    make.issued(owner, card)
    more, second = notice(owner, card, "Free the seized bolts", "2")
    agree(owner, second)
    make.work(owner, more, "2")
    assert sundries(make.draft(owner, card)) == [(D("3.40"), D("3.40"))]


def test_a_revision_is_the_same_estimate(owner):
    """A line that was agreed in revision 1 and one that came with revision 2 have one percentage."""
    card = quote.card(owner)
    main = quote.stage(owner, card)
    first = quote.issued(owner, card)
    agree(owner, first)
    more = quote.stage(owner, card, "Free the seized bolts", standard_hours=D(2))
    again = estimates.new_revision(first.pk, by=owner)
    estimates.add_line(again.pk, None, by=owner, kind="labour", stage_id=more.pk, text="Free them", quantity=D(2))
    again = estimates.issue_estimate(again.pk, None, by=owner)
    quote.say(owner, again, {again.lines.get(stage=more).pk: True})
    make.work(owner, main, "3.5")
    make.work(owner, more, "2")
    assert sundries(make.draft(owner, card)) == [(D("9.35"), D("9.35"))]  # 2.5 % of 374


def test_different_discounts_are_taken_off_once(owner):
    """900 of 1000 at 10 % off: the percentage is of the 900, and has no discount of its own besides."""
    card = quote.card(owner)
    main = quote.stage(owner, card, standard_hours=D(10))
    draft = quote.draft(owner, card)
    line = draft.lines.get(kind="labour")
    estimates.edit_line(line.pk, None, by=owner, unit_price=D(100))
    estimates.edit_estimate(draft.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    first = estimates.issue_estimate(draft.pk, None, by=owner)
    agree(owner, first)
    more, second = notice(owner, card, "Free the seized bolts", "2")
    agree(owner, second)
    make.work(owner, main, "10")
    make.work(owner, more, "2")
    found = make.draft(owner, card)
    assert [net for _, net in sundries(found)] == [D("22.50"), D("3.40")]
    assert found.total_net == first.total_net + second.total_net == D("922.50") + D("139.40")
