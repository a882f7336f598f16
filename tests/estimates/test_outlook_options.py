"""The chance of optional work: of a line by what customers said to it before, of a whole stage by how often it was done where it
was an option."""

from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.parts import actions as catalogue
from jobs.cards import actions as cards
from jobs.cards.models import JobCard
from jobs.estimates import actions, options, outlook
from jobs.estimates.models import Estimate, EstimateLine
from jobs.plans.drafts import StageDraft
from tests.factories import estimates as make
from tests.factories import parts
from tests.factories.cards import a_card
from tests.factories.plans import plan
from tests.factories.timebook import Stopped, a_booking, working_hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def now(monkeypatch) -> Stopped:
    working_hours()
    return Stopped(monkeypatch)


@pytest.fixture
def overhaul(owner, now):
    """A plan of two stages, priced by the hour."""
    make.shop(owner)
    now.at(17)
    return plan(
        stages=(
            StageDraft("Strip", "strip", D("2"), needs_go_ahead=False),
            StageDraft("Fit", "fit", D("4"), needs_go_ahead=False, after=(1,)),
        )
    )


@pytest.fixture
def pump(owner):
    return parts.part(owner, "PMP-011", "Raw-water pump", kind="component", sale_price=D(400))


@pytest.fixture
def hose(owner):
    return parts.part(owner, "HSE-204", "Hose", kind="component", sale_price=D(30))


def offer(office, overhaul, *optional, fit: bool = False) -> Estimate:
    """A draft with these parts as options on the stage "Fit"; with `fit` that stage is an option as a whole."""
    row = actions.draft_estimate(by=office, card_id=a_card(plan_ids=[overhaul.pk]).pk)
    stage = row.card.stages.get(name="Fit")
    for part in optional:
        actions.add_line(row.pk, None, by=office, part_id=part.pk, stage_id=stage.pk, optional=True)
    if fit:
        actions.edit_line(row.lines.get(stage=stage, kind="labour").pk, None, by=office, optional=True)
    row.refresh_from_db()
    return row


def answered(office, row: Estimate, *, yes: bool) -> JobCard:
    """Issued, agreed to, and of the optional lines all or none."""
    row = actions.issue_estimate(row.pk, None, by=office)
    make.say(office, row, {x.pk: yes or not x.optional for x in row.lines.all()})
    return row.card


def finished(now, mechanic, card: JobCard, day: int) -> None:
    """All that wasn't declined is done on that day, two hours each."""
    for n, stage in enumerate(card.stages.filter(declined_at__isnull=True).order_by("position")):
        start, end = now.at(8 + 2 * n, day=day), now.at(10 + 2 * n, day=day)
        now.at(17)
        a_booking(mechanic, stage, start, end)
        cards.finish_stage(stage.pk, by=mechanic)
    cards.finish_card(card.pk, by=card.opened_by)


def chances(row: Estimate) -> list[D]:
    return sorted(options.chances(row.card_id, lines(row)).values())


def lines(row: Estimate) -> list[EstimateLine]:
    return list(row.lines.select_related("stage__plan_stage"))


def of(row: Estimate) -> outlook.Outlook:
    return outlook.of(row, lines(row))


def test_a_part_by_what_customers_said_to_it(office, mechanic, overhaul, pump, now):
    """Its stage was done on every card; the pump was declined on each. The chance is (0 + 1) / (3 + 2)."""
    for day in (23, 24, 25):
        finished(now, mechanic, answered(office, offer(office, overhaul, pump), yes=False), day)
    row = offer(office, overhaul, pump)
    assert chances(row) == [D("0.20")]
    without = of(offer(office, overhaul))
    found = of(row)
    assert found.likely < without.likely + 60, "three in four times without it: far from half of 400"
    answered(office, offer(office, overhaul, pump), yes=True)
    assert chances(row) == [D("0.33")]


def test_a_stage_done_on_nearly_every_card_says_nothing_of_a_part_never_asked_about(
    office, mechanic, overhaul, pump, hose, now
):
    for day in (20, 23, 24, 25):
        finished(now, mechanic, answered(office, offer(office, overhaul, hose), yes=True), day)
    assert chances(offer(office, overhaul, pump)) == [D("0.50")]


def test_two_parts_of_a_stage_are_two_options(office, overhaul, pump, hose):
    row = offer(office, overhaul, pump, hose)
    found = of(row)
    assert found.options == 2
    answered(office, offer(office, overhaul, pump), yes=False)
    assert chances(row) == [D("0.33"), D("0.50")]


def test_a_charge_goes_with_its_part(owner, office, overhaul, pump):
    catalogue.add_charge(pump.pk, by=owner, kind="core", text="Deposit on the old pump", amount=D(30))
    row = offer(office, overhaul, pump)
    assert row.lines.filter(optional=True).count() == 2
    assert of(row).options == 1


def test_the_last_word_of_a_card_counts_once(office, overhaul, pump):
    row = offer(office, overhaul, pump)
    answered(office, row, yes=False)
    make.say(office, row, {x.pk: True for x in row.lines.filter(optional=True)})
    assert chances(offer(office, overhaul, pump)) == [D("0.67")]


def test_cards_that_were_cancelled_do_not_count(office, overhaul, pump):
    card = answered(office, offer(office, overhaul, pump), yes=False)
    row = offer(office, overhaul, pump)
    assert chances(row) == [D("0.33")]
    cards.cancel_card(card.pk, by=office, reason="Sold it")
    assert chances(row) == [D("0.50")]


def test_a_whole_stage_by_the_cards_on_which_it_was_an_option(office, mechanic, overhaul, pump, now):
    row = offer(office, overhaul, pump, fit=True)
    assert set(options.named(lines(row)).values()) == {f"stage {row.card.stages.get(name='Fit').pk}"}
    for day in (19, 20):
        finished(now, mechanic, answered(office, offer(office, overhaul), yes=True), day)
    assert chances(row) == [D("0.50")], "it was no option there"
    taken = answered(office, offer(office, overhaul, fit=True), yes=True)
    assert chances(row) == [D("0.50")], "agreed to, not over with"
    finished(now, mechanic, taken, 23)
    assert chances(row) == [D("0.67")]
    for day in (24, 25):
        finished(now, mechanic, answered(office, offer(office, overhaul, fit=True), yes=False), day)
    assert chances(row) == [D("0.40")], "done on one of three"
    assert of(row).options == 1


def test_a_stage_with_other_work_is_no_option_as_a_whole():
    assert options.whole_stages([(1, "labour", True), (1, "part", True)]) == {1}
    assert options.whole_stages([(1, "labour", False), (1, "part", True)]) == set()
    assert options.whole_stages([(1, "labour", True), (1, "part", False)]) == set()
    assert options.whole_stages([(1, "part", True), (None, "labour", True)]) == set(), "its work is on another document"


def test_the_page_says_where_the_chance_comes_from(office, overhaul, pump, client):
    client.force_login(office)
    says = "a line by how many customers agreed to it at such a stage before"
    assert says not in client.get(f"/estimates/{offer(office, overhaul).pk}/").content.decode()
    assert says in client.get(f"/estimates/{offer(office, overhaul, pump).pk}/").content.decode()


def test_queries_stay_the_same_with_more_history(office, overhaul, pump):
    answered(office, offer(office, overhaul, pump), yes=True)
    row = offer(office, overhaul, pump)
    with CaptureQueriesContext(connection) as few:
        options.chances(row.card_id, lines(row))
    for n in range(3):
        answered(office, offer(office, overhaul, pump, fit=n == 1), yes=bool(n))
    with CaptureQueriesContext(connection) as many:
        options.chances(row.card_id, lines(row))
    assert len(many) == len(few) <= 5
    plain = lines(offer(office, overhaul))
    with CaptureQueriesContext(connection) as none:
        assert options.chances(row.card_id, plain) == {}
    assert len(none) == 0
