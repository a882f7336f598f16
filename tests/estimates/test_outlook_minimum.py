"""Likely and careful figures of work that is billed at least up to a minimum: the hours vary about those of the plan, the price
never goes below what is billed in any case."""

from decimal import Decimal as D

import pytest

from jobs.cards import actions as cards
from jobs.estimates import actions, outlook
from jobs.estimates.models import Estimate
from jobs.plans.drafts import StageDraft
from shop.business import actions as business
from tests.factories import business as rates
from tests.factories import estimates as make
from tests.factories.cards import a_card
from tests.factories.plans import plan
from tests.factories.timebook import Stopped, a_booking, working_hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def now(monkeypatch) -> Stopped:
    working_hours()
    return Stopped(monkeypatch)


@pytest.fixture
def rate(owner, now, monkeypatch):
    """At least two hours of testing are billed, at 70 an hour; nothing for sundries."""
    monkeypatch.setitem(make.PROFILE, "sundries_percent", D(0))
    make.shop(owner)
    now.at(17)
    return business.add_labour_rate(
        per_hour=D(70), valid_from=rates.START, stage_kind="test", minimum_hours=D(2), by=owner
    )


def trial(hours: str):
    return plan(stages=(StageDraft("Run on the brake", "test", D(hours), needs_go_ahead=False),))


def issued(office, by_plan, kind: str = "estimate") -> tuple[Estimate, outlook.Outlook]:
    row = actions.draft_estimate(by=office, card_id=a_card(plan_ids=[by_plan.pk]).pk, kind=kind)
    row = actions.issue_estimate(row.pk, row.version, by=office)
    return row, outlook.read(row.outlook)


def test_the_minimum_is_what_is_billed_for_certain(office, rate):
    """Three quarters of an hour: four of five stay below 0.75 exp(0.841621 x 0.3674) = 1.02 h, well within the two billed."""
    row, found = issued(office, trial("0.75"))
    assert found.likely == found.careful == row.total_net == 140
    assert (found.likely_hours, found.careful_hours) == (D("0.75"), D("1.02"))


def test_jobs_that_ran_short_do_not_go_below_it(office, mechanic, now, rate):
    """Ten jobs of half an hour: likely exp((2 ln 0.75 + 10 ln 0.5) / 12) = 0.53 h, and two are billed."""
    by_plan = trial("0.75")
    for n in range(10):
        now.at(8, day=24)
        stage = a_card(plan_ids=[by_plan.pk]).stages.get()
        start, end = now.at(7 + n // 2, 30 * (n % 2), day=25), now.at(7 + (n + 1) // 2, 30 * ((n + 1) % 2), day=25)
        now.at(17, day=25)
        a_booking(mechanic, stage, start, end)
        cards.finish_stage(stage.pk, by=mechanic)
    now.at(17)
    row, found = issued(office, by_plan)
    assert found.jobs == 10
    assert found.likely == found.careful == row.total_net == 140
    assert found.likely_hours == D("0.53")


def test_hours_that_a_person_typed_are_the_middle_of_what_is_worked(office, mechanic, now, rate):
    """Half an hour typed of a stage of 1.8: two are billed, and half of such jobs take less than what was typed."""
    by_plan = trial("1.8")
    row = actions.draft_estimate(by=office, card_id=a_card(plan_ids=[by_plan.pk]).pk)
    actions.remove_line(row.lines.get().pk, None, by=office)
    stage = row.card.stages.get()
    actions.add_line(row.pk, None, by=office, kind="labour", stage_id=stage.pk, quantity=D("0.5"))
    row = actions.issue_estimate(row.pk, None, by=office)
    found = outlook.read(row.outlook)
    assert found.likely == found.careful == row.total_net == 140
    assert (found.likely_hours, found.careful_hours) == (D("0.50"), D("0.68"))


def test_above_the_minimum_the_price_goes_with_the_hours(office, rate):
    """1.8 h: half stay below, and the two hours are billed; four of five below 70 x 1.8 exp(0.841621 x 0.3674) = 171.67."""
    row, found = issued(office, trial("1.8"))
    assert found.likely == row.total_net == 140
    assert found.careful == pytest.approx(D("171.67"), rel=D("0.01"))
    assert (found.likely_hours, found.careful_hours) == (D("1.80"), D("2.45"))


def test_a_firm_price_is_certain_and_its_hours_are_those_of_the_plan(office, rate):
    row, found = issued(office, trial("0.75"), kind="quotation")
    assert found.likely == found.careful == row.total_net == 140
    assert (found.likely_hours, found.careful_hours) == (D("0.75"), D("1.02"))
