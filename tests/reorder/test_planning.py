"""Proposals from the ledger: what lies there, is kept, is needed by cards, and what the past says."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.parts import actions as parts
from inventory.reorder import actions, history, planning
from inventory.reorder.models import Proposal
from inventory.stock import actions as stock
from jobs.draws import actions as draws
from shop.kernel import clock
from shop.trail import outbox
from tests.factories import cards, moments
from tests.factories.parts import part, sealant
from tests.factories.reorder import PAST, part_with_a_past, run
from tests.factories.stock import bin_, lot, site

pytestmark = pytest.mark.django_db


def moment(year: int, month: int, day: int, hour: int = 12, minute: int = 0):
    return clock.at(datetime(year, month, day, hour, minute, tzinfo=timezone.utc))  # noqa: UP017


def test_demand_is_draws_less_returns_by_the_shops_months(stores):
    """The shop's zone is an hour ahead of UTC in summer: half past eleven at night on 31 May, UTC, is June there."""
    made = part(stores)
    with moment(2026, 1, 10):
        lot(stores, made.pk, "100")
    where = site().pk
    with moment(2026, 5, 31, 23, 30):
        stock.draw(by=stores, part_id=made.pk, site_id=where, quantity=D(5), label="sold")
    with moment(2026, 6, 20):
        (drawn,) = stock.draw(by=stores, part_id=made.pk, site_id=where, quantity=D(3), label="sold")
        stock.put_back(by=stores, movement_id=drawn.pk, quantity=D(1))
    with moment(2026, 8, 3):
        stock.draw(by=stores, part_id=made.pk, site_id=where, quantity=D(40), label="sold")
    with moment(2026, 8, 20):
        months = history.months()
        assert months == history.Months(date(2026, 1, 1), 7), "August isn't over"
        assert list(history.demand(months)) == [(made.pk, where, 5, 7.0)]


def test_history_reaches_three_years_back_and_no_further(stores):
    made = part(stores)
    for year, month in ((2021, 5), (2023, 1), (2025, 12)):
        with moment(year, month, 10):
            lot(stores, made.pk, "5")
            stock.draw(by=stores, part_id=made.pk, site_id=site().pk, quantity=D(2), label="sold")
    with moment(2026, 1, 15):
        months = history.months()
        assert (months.first, months.count) == (date(2023, 1, 1), 36)
        assert [(m, q) for _, _, m, q in history.demand(months)] == [(0, 2.0), (35, 2.0)]


def test_a_part_below_its_level_is_proposed_with_its_reason(stores):
    made = part_with_a_past(stores, left="0")
    run(stores)
    row = Proposal.objects.get()
    assert (row.part, row.rank, row.state) == (made, 1, "open")
    assert row.quantity >= D(row.figures["level"]) > 0
    assert row.reason.startswith(f"Order {row.quantity:.0f} pc: with 0 pc on the shelf it runs short in ")
    assert "; enough in 95 of 100 cases: " in row.reason
    assert row.price == D("4.20")
    assert row.figures["history"] == [str(n) for n in PAST] or row.figures["history"][-len(PAST) :] == [
        str(n) for n in PAST
    ]


def test_a_part_with_enough_is_not_proposed(stores):
    part_with_a_past(stores, left="60")
    made = run(stores)
    assert (made.looked_at, made.proposed, made.left_out) == (1, 0, 0)


def test_a_part_never_asked_for_is_left_alone(stores):
    part_with_a_past(stores, left="60")
    lot(stores, part(stores, "GKT-099").pk, "1")
    assert run(stores).looked_at == 1


def test_what_cards_need_counts_beside_what_the_past_says(stores, office):
    made = part_with_a_past(stores, left="6")
    run(stores)
    before = Proposal.objects.first()
    card = cards.a_card(office, site_id=site().pk, promised_on=clock.today() + timedelta(days=5))
    stage = cards.a_stage(card)
    draws.add_need(by=office, stage_id=stage.pk, part_id=made.pk, quantity=D(10))
    run(stores)
    row = Proposal.objects.get(part=made)
    assert row.figures["goes"] == [
        {
            "on": (clock.today() + timedelta(days=5)).isoformat(),
            "quantity": row.figures["known"],
            "what": f"card {card.number}",
        }
    ]
    kept = D(row.figures["reserved"])
    assert kept + D(row.figures["known"]) == 10, "what is kept is not counted twice"
    assert D(row.figures["position"]) == D(6) - 10
    assert row.quantity >= 4
    assert before is None or before.quantity < row.quantity
    assert "what is known to be needed is not covered" in row.reason


def test_a_need_long_after_the_next_delivery_waits(stores, office):
    made = part_with_a_past(stores, left="60")
    card = cards.a_card(office, site_id=site().pk, promised_on=clock.today() + timedelta(days=200))
    stage = cards.a_stage(card)
    draws.add_need(by=office, stage_id=stage.pk, part_id=made.pk, quantity=D(70))
    run(stores)
    row = Proposal.objects.filter(part=made).first()
    assert row is None or D(row.figures["known"]) == 0


def test_expired_and_quarantined_stock_is_not_counted(stores):
    made = part_with_a_past(stores, left="0")
    bad = bin_(stores, "Q1", kind="quarantine")
    lot(stores, made.pk, "50", at=bad)
    lot(stores, made.pk, "50", expires_on=clock.today())
    with clock.at(moments.away(2)):
        run(stores)
        assert Proposal.objects.get().figures["on_hand"] == "0"


def test_what_gets_too_old_before_it_can_be_used_does_not_count_in_full(stores):
    made = part_with_a_past(stores, left="0")
    lot(stores, made.pk, "50", expires_on=clock.today() + timedelta(days=3))
    run(stores)
    figures = Proposal.objects.get().figures
    assert D(figures["on_hand"]) == 50
    assert D(figures["too_old"]) > 49


def test_never_more_than_is_used_before_it_expires(stores):
    actions.add_rule(by=stores, order_cost=D(500))
    long = part_with_a_past(stores, "GKT-041", left="0")
    short = part_with_a_past(stores, "GKT-042", left="0")
    parts.edit_part(short.pk, None, by=stores, shelf_life_days=90)
    run(stores)
    many, few = (Proposal.objects.get(part=p) for p in (long, short))
    assert many.quantity > 60
    monthly = D(few.figures["monthly"])
    assert few.quantity <= monthly * 90 / D("30.4375")
    assert "no more than will be used before it expires" in few.reason


def test_a_limit_by_hand_holds_whatever_the_past_says(stores):
    made = part(stores, reorder_point=D(20))
    lot(stores, made.pk, "20")
    run(stores)
    row = Proposal.objects.get()
    assert row.quantity == 1
    assert "20 pc or fewer at which this part is ordered" in row.reason
    lot(stores, made.pk, "1")
    assert run(stores).proposed == 0


def test_rules_from_the_narrowest(stores):
    made = part_with_a_past(stores, left="0")
    actions.add_rule(by=stores, service_percent=D(80))
    run(stores)
    shop = D(Proposal.objects.get().figures["level"])
    actions.add_rule(by=stores, kind="gasket", service_percent=D("99.5"))
    run(stores)
    kind = D(Proposal.objects.get().figures["level"])
    actions.add_rule(by=stores, part_id=made.pk, for_cards_only=True)
    done = run(stores)
    assert shop < kind
    assert done.proposed == 0, "kept for nobody, and no card needs it"


def test_the_budget_goes_to_the_most_urgent(stores):
    for n in range(3):
        part_with_a_past(stores, f"GKT-{n}", left=str(n))
    whole = run(stores)
    assert whole.proposed == 3
    first = Proposal.objects.get(rank=1)
    actions.add_rule(by=stores, budget=first.quantity * D("4.20"))
    less = run(stores)
    spent = sum(p.quantity * p.price for p in Proposal.objects.filter(run=less))
    assert spent <= first.quantity * D("4.20")
    assert (less.proposed + less.left_out, Proposal.objects.get(rank=1).part) == (3, first.part)


def test_a_measured_part_is_ordered_as_it_is_counted(stores):
    tube = sealant(stores)
    with clock.at(moments.away(-400)):
        lot(stores, tube.pk, "2000", expires_on=clock.today() + timedelta(days=900))
    for n in range(1, 12):
        with clock.at(moments.away(-(31 * n))):
            stock.draw(by=stores, part_id=tube.pk, site_id=site().pk, quantity=D("42.5") * (n % 3 + 1), label="sold")
    run(stores)
    row = Proposal.objects.filter(part=tube).first()
    if row:
        assert row.quantity == row.quantity.quantize(D("0.001"))


def test_the_next_run_replaces_what_nobody_decided(stores):
    for n in range(2):
        part_with_a_past(stores, f"GKT-{n}", left="0")
    run(stores)
    first, second = Proposal.objects.order_by("rank")
    actions.put_off(first.pk, None, by=stores, note="Supplier is on holiday.")
    last = run(stores)
    assert Proposal.objects.filter(pk=first.pk).exists()
    assert not Proposal.objects.filter(pk=second.pk).exists()
    assert list(Proposal.objects.filter(run=last).values_list("part_id", flat=True)) == [second.part_id]
    assert last.left_out == 1, "no sooner than agreed"
    with clock.at(moments.away(31)):
        again = run(stores)
    assert again.proposed == 2


def test_the_outbox_works_it_out_once(stores):
    part_with_a_past(stores, left="0")
    actions.ask_for_run(by=stores)
    outbox.drain()
    kept = list(Proposal.objects.values_list("pk", "run__by"))
    assert [by for _, by in kept] == [stores.pk]
    worked = planning.work_out()
    event = Proposal.objects.get().run.event_id
    assert actions.keep_run(worked, by=stores, event_id=event) == Proposal.objects.get().run
    assert list(Proposal.objects.values_list("pk", "run__by")) == kept, "delivered twice, done once"


def test_once_a_night(stores):
    part_with_a_past(stores, left="0")
    tonight = clock.now().replace(hour=1, minute=0)
    with clock.at(tonight):
        assert not actions.ask_for_nightly_run()
    with clock.at(tonight.replace(hour=5)):
        assert actions.ask_for_nightly_run()
        assert not actions.ask_for_nightly_run(), "it is on its way"
        outbox.drain()
        assert not actions.ask_for_nightly_run(), "done for today"
    with clock.at(tonight.replace(hour=5) + timedelta(days=1)):
        assert actions.ask_for_nightly_run()


def test_more_parts_take_no_more_statements(stores):
    def counted() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            planning.work_out()
        return len(seen)

    for n in range(2):
        part_with_a_past(stores, f"GKT-{n}", past=PAST[:6], left="0")
    few = counted()
    for n in range(2, 6):
        part_with_a_past(stores, f"GKT-{n}", past=PAST[:6], left="0")
    assert counted() == few
