"""Charges on invoices: in the quantity of the part that is billed, as agreed, and never twice."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from jobs.cards import actions as cards
from jobs.estimates import actions as estimates
from jobs.invoices import actions, checking
from jobs.invoices.models import Invoice
from shop.kernel.errors import BadInput, Refused
from tests.factories import charges as made
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories.client import Api

pytestmark = pytest.mark.django_db


def lines(invoice):
    return [(x.kind, x.quantity, x.net) for x in invoice.lines.exclude(kind__in=["labour", "sundry"])]


def issue(invoice, owner):
    return actions.issue_invoice(invoice.pk, None, by=owner)


def test_as_done_in_the_quantity_of_the_part_over_two_invoices(owner):
    card, fit, part = made.done(owner)  # two were estimated and used
    first = issue(actions.draft_invoice(by=owner, card_id=card.pk), owner)
    assert lines(first) == [("part", 2, D(176)), ("environmental", 2, D("0.80")), ("core", 2, D(25))]
    with pytest.raises(Refused, match="isn't billed already"):
        actions.draft_invoice(by=owner, card_id=card.pk)
    make.use(owner, fit, part, "1")
    second = actions.draft_invoice(by=owner, card_id=card.pk)
    assert lines(second) == [("part", 1, D(88)), ("environmental", 1, D("0.40")), ("core", 1, D("12.50"))]
    own = {x.kind: x for x in second.lines.all()}
    assert own["core"].accompanies_id == own["environmental"].accompanies_id == own["part"].pk
    issue(second, owner)
    assert list(checking.wrong()) == []


def test_fewer_used_fewer_charged_and_the_charge_follows_an_edit(owner):
    card, fit, part = made.job(owner, "3")
    quote.agreed(owner, card)
    make.work(owner, fit, "1")
    make.use(owner, fit, part, "2")
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    own = {x.kind: x for x in draft.lines.all()}
    assert (own["part"].quantity, own["core"].quantity) == (2, 2)
    actions.edit_line(own["part"].pk, None, by=owner, quantity=D(1))
    assert [x[1] for x in lines(draft)] == [1, 1, 1]
    with pytest.raises(BadInput) as refusal:
        actions.edit_line(own["core"].pk, None, by=owner, quantity=D(2), reason="More")
    assert refusal.value.code == "goes-with-part"
    actions.remove_line(own["part"].pk, None, by=owner)
    assert lines(draft) == []


def test_at_an_agreed_price_as_it_stands(owner):
    card, fit, part = made.job(owner, "3")
    found = quote.draft(owner, card)
    line = found.lines.get(kind="part")
    estimates.edit_line(line.pk, None, by=owner, pricing="fixed")
    estimates.issue_estimate(found.pk, None, by=owner)
    quote.say(owner, found, {x.pk: True for x in found.lines.all()})
    make.work(owner, fit, "1")
    make.use(owner, fit, part, "1")
    first = issue(actions.draft_invoice(by=owner, card_id=card.pk), owner)
    assert lines(first) == [("part", 3, D(264)), ("environmental", 3, D("1.20")), ("core", 3, D("37.50"))]
    make.work(owner, fit, "1")
    second = actions.draft_invoice(by=owner, card_id=card.pk)
    assert lines(second) == []


def test_a_credited_part_that_is_billed_again_brings_no_charge_twice(owner):
    card, *_ = made.done(owner)
    first = issue(actions.draft_invoice(by=owner, card_id=card.pk), owner)
    part = first.lines.get(kind="part")
    actions.credit_note(first.pk, by=owner, reason="Wrong price", quantities={part.pk: D(2)})
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert lines(again) == [("part", 2, D(176))]
    actions.discard_invoice(again.pk, None, by=owner)
    charges = {x.pk: D(1) for x in first.lines.filter(kind__in=["core", "environmental"])}
    actions.credit_note(first.pk, by=owner, reason="Those as well", quantities=charges)
    again = issue(actions.draft_invoice(by=owner, card_id=card.pk), owner)
    assert lines(again) == [("part", 2, D(176)), ("environmental", 1, D("0.40")), ("core", 1, D("12.50"))]
    assert list(checking.wrong()) == []


def test_what_was_not_estimated_brings_its_own(owner):
    card = quote.card(owner)
    fit = quote.stage(owner, card, "Find out", needs_go_ahead=False)
    part = made.nozzle(owner)
    make.work(owner, fit, "1")
    make.use(owner, fit, part, "2")
    first = issue(actions.draft_invoice(by=owner, card_id=card.pk), owner)
    assert lines(first) == [("part", 2, D(176)), ("environmental", 2, D("0.80")), ("core", 2, D(25))]
    nozzles = first.lines.get(kind="part")
    actions.credit_note(first.pk, by=owner, reason="One too many", quantities={nozzles.pk: D(1)})
    make.use(owner, fit, part, "1")
    second = actions.draft_invoice(by=owner, card_id=card.pk)
    # two parts are billed, of which one had its charges before
    assert lines(second) == [("part", 2, D(176)), ("environmental", 1, D("0.40")), ("core", 1, D("12.50"))]
    edited = second.lines.get(kind="part")
    actions.edit_line(edited.pk, None, by=owner, quantity=D(1))
    assert lines(second) == [("part", 1, D(88))]


def test_charged_by_the_owner_with_its_charges(owner):
    card, fit, part = made.job(owner)
    found = quote.issued(owner, card)
    quote.say(owner, found, {found.lines.get(kind="labour").pk: True})
    make.work(owner, fit, "1")
    make.use(owner, fit, part, "1")
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert lines(draft) == []
    actions.charge_unagreed(
        draft.pk, None, by=owner, kind="part", stage_id=fit.pk, part_id=part.pk, reason="Agreed on the quay"
    )
    assert lines(draft) == [("part", 1, D(88)), ("environmental", 1, D("0.40")), ("core", 1, D("12.50"))]
    assert set(draft.lines.exclude(kind="labour").values_list("not_agreed", flat=True)) == {"Agreed on the quay"}


def test_on_a_sale_by_api_and_credited_back_to_nothing(owner):
    quote.shop(owner)
    part = made.nozzle(owner)
    draft = actions.draft_invoice(by=owner, customer_id=quote.customer().pk)
    api = Api(owner)
    line = api.post("invoice-lines/", {"invoice_id": draft.pk, "part_id": part.pk, "quantity": "3"})
    assert line.status_code == 201, line.json()
    assert lines(draft) == [("part", 3, D(264)), ("environmental", 3, D("1.20")), ("core", 3, D("37.50"))]
    rows = api.get("invoice-lines/", invoice_id=draft.pk).json()["items"]
    assert [x["accompanies_id"] for x in rows] == [None, line.json()["id"], line.json()["id"]]
    actions.edit_invoice(draft.pk, None, by=owner, discount_percent=D("7.5"), discount_reason="Trade")
    issued = issue(draft, owner)
    # 7.5 % of 265.20 = 19.89; the deposit is left whole
    assert issued.total_net == D("264") + D("1.20") - D("19.89") + D("37.50")
    core = issued.lines.get(kind="core")
    one = actions.credit_note(issued.pk, by=owner, reason="Old part came back", quantities={core.pk: D(1)})
    assert (one.total_net, one.total_tax, one.discount_percent) == (D("12.50"), D("2.88"), 0)
    rest = actions.credit_note(issued.pk, by=owner, reason="All of it")
    for name in ("total_net", "total_tax", "total_gross"):
        sums = [getattr(Invoice.objects.get(pk=x.pk), name) for x in (issued, one, rest)]
        assert sums[0] - sums[1] - sums[2] == 0, name
    assert list(checking.wrong()) == []


def test_deposits_by_percentage_leave_a_discount_off_cores_alone(owner):
    """The agreed sum that a deposit is a percentage of is the one that will be billed."""
    card, *_ = made.job(owner)
    found = quote.draft(owner, card)
    estimates.edit_estimate(found.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    estimates.issue_estimate(found.pk, None, by=owner)
    quote.say(owner, found, {x.pk: True for x in found.lines.all()})
    deposit = actions.draft_deposit(by=owner, card_id=card.pk, percent=D(100))
    found.refresh_from_db()
    assert deposit.total_net == found.total_net == D("250.81")


def test_a_stage_that_is_never_begun_charges_nothing(owner):
    card, fit, _ = made.job(owner)
    other = quote.stage(owner, card, "Look at it", needs_go_ahead=False)
    quote.agreed(owner, card)
    make.work(owner, other, "1")
    cards.finish_stage(other.pk, by=owner)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert lines(draft) == []
    assert fit.started_at is None
