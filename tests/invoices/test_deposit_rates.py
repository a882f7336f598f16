"""A VAT rate that changes between a deposit and its work, and deposits that a draft doesn't know of: none is silently left on,
and no draft is stuck."""

from datetime import date, datetime
from decimal import Decimal as D
from zoneinfo import ZoneInfo

import pytest

from jobs.cards import actions as cards
from jobs.invoices import actions, checking, queries
from jobs.invoices.models import Invoice
from jobs.timebook import actions as timebook
from shop.business import actions as business
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride, NotAllowed, Refused
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


def at(day: int, hour: int, month: int = 1):
    """A moment of the winter of 2026/27 in the shop's zone."""
    year = 2026 if month == 12 else 2027
    return clock.at(datetime(year, month, day, hour, tzinfo=ZoneInfo("Europe/Dublin")))


@pytest.fixture
def begun(owner, settings):
    """1,000 agreed and half of it paid in December as a deposit, 615.00 at 23 %; from 15 January the rate is 24 %."""
    settings.TIME_ZONE = "Europe/Dublin"
    with at(1, 9, month=12):
        quote.shop(owner)
        rate = quote.rates.tax_rates(owner)["S23"]
        business.change_tax_rate(rate.pk, None, percent=D(24), valid_from=date(2027, 1, 15), by=owner)
        business.edit_profile(None, by=owner, sundries_percent=D(0))
        card = quote.card(owner)
        stage = quote.stage(owner, card, standard_hours=D(10))
        found = quote.draft(owner, card, kind="quotation")
        quote.actions.edit_line(found.lines.get().pk, None, by=owner, unit_price=D(100))
        found = quote.actions.issue_estimate(found.pk, None, by=owner)
        quote.say(owner, found, {x.pk: True for x in found.lines.all()})
        asked = make.deposit(owner, card, "50")
        make.pay(owner, asked, "615")
        cards.start_stage(stage.pk, by=owner)
    return card, stage, asked


def due(invoice: Invoice) -> D:
    return invoice.total_gross + invoice.rounding


def test_drafted_after_the_change_for_work_before_it(owner, begun):
    card, stage, _ = begun
    with at(14, 16):
        cards.finish_stage(stage.pk, by=owner)
    with at(18, 9):
        draft = make.draft(owner, card)
        assert [g["percent"] for g in draft.tax_groups] == ["23"]
        assert due(draft) == D(615)
        final = actions.issue_invoice(draft.pk, None, by=owner)
        assert list(checking.wrong()) == []
    assert (final.supplied_on.day, due(final)) == (14, D(615))


def test_drafted_before_the_change_for_work_after_it(api, owner, office, begun):
    """The deposit can't be taken off at 24 %: what to do is said, and then it goes."""
    card, stage, asked = begun
    with at(14, 9):
        draft = make.draft(owner, card)
        assert due(draft) == D(615)
    with at(15, 16):
        cards.finish_stage(stage.pk, by=owner)
        refused = api(office).post(f"invoices/{draft.pk}/issue/", {})
        assert refused.status_code == 409
        assert refused.json()["type"].endswith("deposit-other-rate")
        said = refused.json()["detail"]
        assert f"{asked.number} was charged at 23 % VAT, and what it was for is charged at 24 % here" in said
        assert f"Credit {asked.number}" in said
        with pytest.raises(NotAllowed):
            actions.issue_invoice(draft.pk, None, by=office, override="Never mind")
        anew = actions.take_off_deposits(draft.pk, None, by=office)  # saves the rate of the day of supply
        assert (anew.total_gross, anew.lines.filter(deducts__isnull=False).count()) == (D(1240), 0)
        with pytest.raises(Refused) as told:
            actions.take_off_deposits(draft.pk, None, by=office)
        assert told.value.code == "deposit-other-rate"
        with pytest.raises(NeedsOverride):
            actions.issue_invoice(draft.pk, None, by=office)
        note = actions.credit_note(asked.pk, by=owner, reason="Charged at 23 %, supplied at 24 %")
        final = actions.issue_invoice(draft.pk, None, by=office)
        actions.allocate(by=owner, credit_note_id=note.pk, allocations={final.pk: D(615)})
        assert list(checking.wrong()) == []
    assert (due(final), queries.outstanding(final)) == (D(1240), D(625))


def test_credited_before_the_draft_is_looked_at_again(owner, begun):
    card, stage, asked = begun
    with at(14, 9):
        draft = make.draft(owner, card)
    with at(15, 16):
        cards.finish_stage(stage.pk, by=owner)
        actions.credit_note(asked.pk, by=owner, reason="Charged at 23 %, supplied at 24 %")
        assert due(actions.issue_invoice(draft.pk, None, by=owner)) == D(1240)


def test_the_owner_may_leave_it_off_and_the_trail_names_it(owner, begun):
    card, stage, asked = begun
    with at(15, 16):
        cards.finish_stage(stage.pk, by=owner)
        draft = make.draft(owner, card)
        final = actions.issue_invoice(draft.pk, None, by=owner, override="For the other engine")
    assert due(final) == D(1240)
    row = queries.history(final).get(verb="invoice.issued")
    assert row.detail["deposits_left_off"] == [asked.number]


def test_a_day_of_supply_that_is_given_takes_the_deposit_off(owner, begun):
    """Drafted at 24 %, then the work is said to have been done on the 14th."""
    card, stage, _ = begun
    with at(15, 16):
        cards.finish_stage(stage.pk, by=owner)
        draft = make.draft(owner, card)
        assert due(draft) == D(1240)
        final = actions.issue_invoice(draft.pk, None, by=owner, supplied_on=date(2027, 1, 14))
        assert list(checking.wrong()) == []
    assert due(final) == D(615)


def test_what_was_removed_on_purpose_stays_removed_when_the_rate_changes(owner, begun):
    """At 24 % there is nothing to take off; when the work is said to have been done at 23 %, it isn't taken off again."""
    card, _, asked = begun
    with at(14, 9):
        draft = make.draft(owner, card)
        actions.remove_line(draft.lines.get(deducts=asked).pk, None, by=owner)
    with at(15, 9):
        assert due(actions.issue_invoice(draft.pk, None, by=owner, supplied_on=date(2027, 1, 14))) == D(1230)


def test_a_line_is_changed_at_the_rate_of_the_day_of_supply(owner, begun):
    card, stage, _ = begun
    with at(14, 9):
        draft = make.draft(owner, card)
    with at(15, 16):
        cards.finish_stage(stage.pk, by=owner)
        actions.edit_line(draft.lines.get(kind="labour").pk, None, by=owner, text="Fit rings")
        draft.refresh_from_db()
    assert {g["percent"] for g in draft.tax_groups} == {"23", "24"}  # the deposit's own stays


def test_a_deposit_that_came_after_the_draft_is_not_forgotten(api, owner, office, begun):
    card, _, first = begun
    with at(12, 10):
        actions.credit_note(first.pk, by=owner, reason="Asked anew")
        draft = make.draft(owner, card)
    with at(12, 11):
        asked = make.deposit(owner, card, "50")
        make.pay(owner, asked, "615")
    with at(12, 12):
        refused = api(office).post(f"invoices/{draft.pk}/issue/", {})
        assert (refused.status_code, refused.json()["facts"]["deposits"]) == (409, [asked.number])
        assert refused.json()["type"].endswith("deposit-left")
        assert (
            f"Of deposit invoice {asked.number} 500.00 EUR without VAT could be taken off" in refused.json()["detail"]
        )
        actions.take_off_deposits(draft.pk, None, by=office)
        final = actions.issue_invoice(draft.pk, None, by=office)
    assert due(final) == D(615)


def test_a_word_covers_only_what_its_giver_was_told(owner, begun):
    """A clock runs and a deposit came since: both are asked at once, so that a word about the clock leaves no deposit off."""
    card, stage, _ = begun
    with at(12, 10):
        draft = make.draft(owner, card)
    with at(12, 11):
        asked = actions.draft_deposit(by=owner, card_id=card.pk, amount=D(100))
        asked = actions.issue_invoice(asked.pk, None, by=owner)
        timebook.clock_on(by=owner, stage_id=stage.pk)
    with at(12, 12):
        with pytest.raises(NeedsOverride) as told:
            actions.issue_invoice(draft.pk, None, by=owner)
        assert "clock" in told.value.message
        assert f"Of deposit invoice {asked.number} 100.00 EUR without VAT could be taken off" in told.value.message
        assert told.value.facts["deposits"] == [asked.number]


def test_nor_is_the_rest_of_one_when_the_draft_grows(owner):
    quote.shop(owner)
    customer = quote.customer()
    asked = actions.draft_deposit(by=owner, customer_id=customer.pk, amount=D(500))
    asked = actions.issue_invoice(asked.pk, None, by=owner)
    make.pay(owner, asked, "615")
    draft = actions.draft_invoice(by=owner, customer_id=customer.pk)
    actions.add_line(draft.pk, None, by=owner, text="Exchange starter", unit_price=D(300))
    actions.take_off_deposits(draft.pk, None, by=owner)
    actions.add_line(draft.pk, None, by=owner, text="Alternator", unit_price=D(300))
    with pytest.raises(NeedsOverride, match=r"200\.00 EUR without VAT could be taken off") as told:
        actions.issue_invoice(draft.pk, None, by=owner)
    assert told.value.code == "deposit-left"
    actions.take_off_deposits(draft.pk, None, by=owner)
    assert due(actions.issue_invoice(draft.pk, None, by=owner)) == D(123)
