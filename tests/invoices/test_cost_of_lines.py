"""What a line of an invoice cost: what was worked and drawn for it, not what was agreed or billed at least."""

from datetime import timedelta
from decimal import Decimal as D

import pytest

from jobs.estimates import actions as estimates
from jobs.invoices import actions
from shop.business import actions as business
from shop.kernel import clock
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


def lines(api, owner, invoice, kind):
    found = api(owner).get("invoice-lines/", invoice_id=invoice.pk).json()["items"]
    return [(x["net"], x["cost"], x["margin"]) for x in found if x["kind"] == kind]


def firm(owner, card):
    issued = quote.issued(owner, card, kind="quotation")
    quote.say(owner, issued, {x.pk: True for x in issued.lines.all()})


def test_hours_at_a_firm_price_cost_what_was_booked(api, owner):
    """10 h at 68 agreed, 20 h at 24 booked: as “What jobs earned” says."""
    card = quote.card(owner)
    stage = quote.stage(owner, card, standard_hours=D(10))
    firm(owner, card)
    make.work(owner, stage, "10")
    make.work(owner, stage, "10")
    invoice = make.issued(owner, card)
    assert lines(api, owner, invoice, "labour") == [("680.00", "480.00", "200.00")]
    today = clock.today().isoformat()
    (job,) = api(owner).get("jobs-earned/", since=today, until=today).json()["lines"]
    assert job["labour"] == "480.00"


def test_two_lines_at_a_firm_price_share_it(api, owner):
    card = quote.card(owner)
    stage = quote.stage(owner, card, standard_hours=D(2))  # 136
    draft = quote.draft(owner, card, kind="quotation")
    estimates.add_line(
        draft.pk, None, by=owner, kind="labour", stage_id=stage.pk, text="A second man", quantity=D(1),
        unit_price=D(68), pricing="fixed",
    )  # fmt: skip
    issued = estimates.issue_estimate(draft.pk, None, by=owner)
    quote.say(owner, issued, {x.pk: True for x in issued.lines.all()})
    make.work(owner, stage, "4")
    assert sorted(lines(api, owner, make.draft(owner, card), "labour")) == [
        ("136.00", "64.00", "72.00"), ("68.00", "32.00", "36.00"),
    ]  # fmt: skip


def test_parts_at_a_firm_price_cost_what_was_drawn(api, owner):
    card, fit, _, rings = quote.job(owner)
    firm(owner, card)
    make.work(owner, fit, "1")
    make.use(owner, fit, rings, "3", cost="40")
    assert lines(api, owner, make.draft(owner, card), "part") == [("172.80", "120.00", "52.80")]


def test_what_another_line_bills_by_what_was_done_is_not_counted_twice(api, owner):
    card = quote.card(owner)
    stage = quote.stage(owner, card, standard_hours=D(2))
    draft = quote.draft(owner, card)
    estimates.add_line(
        draft.pk, None, by=owner, kind="labour", stage_id=stage.pk, text="Rig the crane", quantity=D(1),
        unit_price=D(68), pricing="fixed",
    )  # fmt: skip
    issued = estimates.issue_estimate(draft.pk, None, by=owner)
    quote.say(owner, issued, {x.pk: True for x in issued.lines.all()})
    make.work(owner, stage, "3")
    found = lines(api, owner, make.draft(owner, card), "labour")
    assert sorted(x[1] for x in found) == ["0.00", "72.00"]


@pytest.mark.parametrize("asked", [True, False])
def test_a_minimum_costs_the_hours_that_were_worked(api, owner, asked):
    quote.shop(owner)
    day = clock.today() - timedelta(days=400)
    business.add_labour_rate(per_hour=D(70), valid_from=day, stage_kind="test", minimum_hours=D(2), by=owner)
    card = quote.card(owner)
    stage = quote.stage(owner, card, "Run it", kind="test", standard_hours=D("0.75"), needs_go_ahead=asked)
    if asked:
        quote.agreed(owner, card)
    make.work(owner, stage, "0.5")
    assert lines(api, owner, make.draft(owner, card), "labour") == [("140.00", "12.00", "128.00")]


def test_the_cost_goes_with_the_quantity_that_is_billed_now(api, owner):
    """Half of the hours are billed now, the other half later: each half at its own cost."""
    card, fit, _, _ = quote.job(owner)
    quote.agreed(owner, card)
    make.work(owner, fit, "4")
    first = make.draft(owner, card)
    (line,) = [
        x for x in api(owner).get("invoice-lines/", invoice_id=first.pk).json()["items"] if x["kind"] == "labour"
    ]
    assert (line["quantity"], line["cost"]) == ("4", "96.00")
    api(owner).patch(f"invoice-lines/{line['id']}/", {"quantity": "2"})
    assert lines(api, owner, first, "labour") == [("136.00", "48.00", "88.00")]
    actions.issue_invoice(first.pk, None, by=owner, override="The rest follows")
    assert lines(api, owner, make.draft(owner, card), "labour") == [("136.00", "48.00", "88.00")]
