"""Counts and cost differences while others draw; transfers in opposite order. Each with a control without the lock."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db.models import Sum

from inventory.stock import actions, ledger
from inventory.stock.actions import counts as counting
from inventory.stock.models import Balance, CountLine, Movement, Revaluation, StockLevel
from tests.factories import parts as made_parts
from tests.factories import stock as made
from tests.race.racing import outcomes, race
from tests.race.test_stock import drawing, without_the_lock

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def gasket(stores):
    return made_parts.part(stores)


@pytest.fixture
def site(db):
    return made.site()


@pytest.fixture
def counted(stores, gasket, site):
    """Forty by the ledger, 36 seen twice: four are missing. Ready to be posted."""
    lot = made.lot(stores, gasket.pk, "40", "4.20")
    row = actions.start_count(by=stores, site_id=site.pk, bin_ids=[made.bin_(stores).pk])
    line = row.lines.get()
    for _ in range(2):
        actions.tally(by=stores, line_id=line.pk, lot_id=lot.pk, counted=D(36))
        if line.finished_at is None:
            line = actions.finish_line(by=stores, line_id=line.pk)
    return lot, line


def closing(by, line):
    return lambda: actions.close_line(by=by, line_id=line.pk, reason="counted")


def test_a_count_is_posted_while_others_draw(stores, gasket, site, counted):
    _, line = counted
    results = race([*(drawing(stores, gasket, site) for _ in range(12)), closing(stores, line)])
    assert outcomes(results) == {"done": 13}
    assert StockLevel.objects.get().on_hand == 40 - 4 - 12
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_a_count_and_draws_overwrite_each_other(stores, gasket, site, counted, monkeypatch):
    _, line = counted
    without_the_lock(monkeypatch)
    monkeypatch.setattr(counting, "hold_bins", lambda *ids: None)
    race(
        [*(drawing(stores, gasket, site) for _ in range(12)), closing(stores, line)]
        + [drawing(stores, gasket, site)] * 12
    )
    assert list(ledger.wrong()) != []


def test_a_line_is_posted_once(stores, gasket, site, counted):
    _, line = counted
    results = race([closing(stores, line) for _ in range(8)])
    assert outcomes(results) == {"done": 1, "refused": 7}
    assert Movement.objects.filter(kind="count").count() == 1
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_of_the_line_it_is_posted_more_than_once(stores, gasket, site, counted, monkeypatch):
    _, line = counted

    def unlocked(line_id):
        return CountLine.objects.select_related("count", "bin", "part").get(pk=line_id)

    monkeypatch.setattr(counting, "_line", unlocked)
    without_the_lock(monkeypatch)
    monkeypatch.setattr(counting, "hold_bins", lambda *ids: None)
    race([closing(stores, line) for _ in range(8)])
    assert Movement.objects.filter(kind="count").count() > 1


def test_what_is_said_and_what_is_drawn_come_in_an_order(stores, gasket, site):
    """Whatever the order: what the ledger expected at a tally is what its movements up to then come to."""
    lot = made.lot(stores, gasket.pk, "40", "4.20")
    shelf = made.bin_(stores)
    line = actions.start_count(by=stores, site_id=site.pk, bin_ids=[shelf.pk]).lines.get()

    def tally():
        return actions.tally(by=stores, line_id=line.pk, lot_id=lot.pk, counted=D(30))

    results = race([*(drawing(stores, gasket, site) for _ in range(12)), *(tally for _ in range(6))])
    assert outcomes(results) == {"done": 18}
    for said in line.tallies.all():
        upto = Movement.objects.filter(lot=lot, pk__lte=said.seen).aggregate(q=Sum("quantity"))["q"]
        assert said.expected == upto


def test_a_late_invoice_while_others_draw(stores, owner, gasket, site):
    """Every draw is either before the difference and named by it, or after it and at the new cost."""
    lot = made.lot(stores, gasket.pk, "40", "4.20")

    def revalue():
        return actions.revalue(by=owner, lot_id=lot.pk, new_unit_cost=D("4.50"), reason="invoice")

    results = race([*(drawing(stores, gasket, site) for _ in range(12)), revalue])
    assert outcomes(results) == {"done": 13}
    row = Revaluation.objects.get()
    for drawn in Movement.objects.filter(kind="draw"):
        more = Movement.objects.filter(kind="revalue", reverses=drawn).aggregate(v=Sum("value"))["v"] or D(0)
        assert drawn.value + more == D("-4.50")
        assert (drawn.pk < row.since_id) == bool(more)
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_a_draw_slips_past_the_difference(stores, owner, gasket, site, monkeypatch):
    lots = [made.lot(stores, gasket.pk, "40", "4.20") for _ in range(3)]
    without_the_lock(monkeypatch)

    def revalue(lot):
        return lambda: actions.revalue(by=owner, lot_id=lot.pk, new_unit_cost=D("4.50"), reason="invoice")

    def take(lot):
        return drawing(stores, gasket, site, lot_id=lot.pk)

    for lot in lots:
        race([*(take(lot) for _ in range(10)), revalue(lot)])
    assert list(ledger.wrong()) != []


@pytest.mark.postgres
def test_control_without_the_lock_transfers_in_opposite_order_lose_some(stores, gasket, site, monkeypatch):
    """tests/race/test_stock.py has the one with the lock: it ends, and nothing is lost."""
    far, near = made.bin_(stores, "F1", at=made.site("FARM")), made.bin_(stores)
    lot = made.lot(stores, gasket.pk, "40")
    actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=near.pk, to_bin_id=far.pk, quantity=D(20))
    without_the_lock(monkeypatch)
    monkeypatch.setattr("inventory.stock.actions.moving.hold_bins", lambda *ids: dict.fromkeys(ids, near))

    def move(a, b):
        return lambda: actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=a.pk, to_bin_id=b.pk, quantity=D(1))

    race([move(near, far), move(far, near)] * 15)
    wrong = list(ledger.wrong())
    assert wrong or set(Balance.objects.values_list("on_hand", flat=True)) != {D(20)}
