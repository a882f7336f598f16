"""What is kept or coming for one card is moved, drawn, ordered, cancelled and arrives at the same moment. Each lock with a
control that fails without it."""

from __future__ import annotations

import threading
from decimal import Decimal as D

import pytest

from inventory.buying import actions as buying
from inventory.buying.models import OrderLine
from inventory.stock import ledger
from inventory.stock.models import Reservation, StockLevel
from jobs.cards import actions as cards
from jobs.draws import actions, supply
from jobs.draws.actions import arriving, locking, moving, ordering, trays
from jobs.draws.models import Draw, Need, Promise, Tray, TrayUse
from shop.kernel import writing
from shop.kernel.statements import Joined
from tests.factories import buying as made
from tests.factories import parts, stock
from tests.factories.cards import a_card, a_stage
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shelf(office, stores):
    return stock.bin_(stores, at=a_card(office).site)


@pytest.fixture
def gasket(stores, shelf):
    found = parts.part(stores)
    made.offer(stores, found)
    return found


def need_of(by, of, quantity):
    row = a_stage(a_card(by), chargeable=False)
    return actions.add_need(by=by, stage_id=row.pk, part_id=of.pk, quantity=D(quantity))


def kept(need):
    return supply.kept_for(Need.objects.get(pk=need.pk))


def read_only(monkeypatch, *modules):
    """The needs are read and not held."""

    def unlocked(pks):
        rows = Need.objects.select_related("part", "reservation", "stage__card").filter(pk__in=pks)
        return {row.pk: row for row in rows}

    for module in modules:
        monkeypatch.setattr(module, "hold_needs", unlocked)


def meeting(monkeypatch, people=2):
    """In the controls all have read before the first writes."""
    together, checked = threading.Barrier(people), moving.check_move

    def check(*args):
        found = checked(*args)
        together.wait(5)
        return found

    monkeypatch.setattr(moving, "check_move", check)


# --- two owners move at once ----------------------------------------------------------------------


def two_moves(owner, office, stores, gasket, shelf):
    """Ten lie there, three are kept for a card; two owners each give two of them to another one."""
    stock.lot(stores, gasket.pk, "10", at=shelf)
    loser = need_of(office, gasket, "3")
    actions.keep(loser.pk, by=office)
    others = [need_of(office, gasket, "2") for _ in range(2)]
    move = lambda n: lambda: actions.move(n.pk, by=owner, from_need_id=loser.pk, quantity=D(2))  # noqa: E731
    return loser, others, [move(n) for n in others]


def test_two_owners_do_not_move_the_same_pieces(owner, office, stores, gasket, shelf):
    loser, others, works = two_moves(owner, office, stores, gasket, shelf)
    results = race(works)
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert (kept(loser), sorted(kept(n) for n in others)) == (1, [0, 2])
    assert StockLevel.objects.get(part=gasket).reserved == 3
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_both_move_them(owner, office, stores, gasket, shelf, monkeypatch):
    loser, others, works = two_moves(owner, office, stores, gasket, shelf)
    read_only(monkeypatch, moving)
    meeting(monkeypatch)
    assert outcomes(race(works)) == {"done": 2}
    assert kept(loser) + sum(kept(n) for n in others) == 5  # of three that were kept


# --- a move and a draw ----------------------------------------------------------------------------


def move_and_draw(owner, office, stores, gasket, shelf):
    stock.lot(stores, gasket.pk, "2", at=shelf)
    loser, need = need_of(office, gasket, "2"), need_of(office, gasket, "2")
    actions.keep(loser.pk, by=office)
    return loser, need, [
        lambda: actions.move(need.pk, by=owner, from_need_id=loser.pk, quantity=D(2)),
        lambda: actions.draw(by=stores, stage_id=loser.stage_id, part_id=gasket.pk, quantity=D(2)),
    ]  # fmt: skip


@pytest.mark.parametrize("again", range(4))
def test_what_is_drawn_is_not_moved_as_well(again, owner, office, stores, gasket, shelf):
    _loser, need, works = move_and_draw(owner, office, stores, gasket, shelf)
    results = race(works if again % 2 else works[::-1])
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert (kept(need) == 2) != Draw.objects.exists()
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_what_is_drawn_is_kept_for_another(owner, office, stores, gasket, shelf, monkeypatch):
    """Two more lie there, so that nothing else refuses it: the draw is over when the owner, who read before it, moves."""
    loser, need, (move, draw) = move_and_draw(owner, office, stores, gasket, shelf)
    stock.lot(stores, gasket.pk, "2", at=shelf)
    read_only(monkeypatch, moving)
    read, drawn, checked = threading.Event(), threading.Event(), moving.check_move

    def check(*args):
        found = checked(*args)
        read.set()
        drawn.wait(10)
        return found

    def then():
        read.wait(10)
        draw()
        drawn.set()

    monkeypatch.setattr(moving, "check_move", check)
    assert outcomes(race([move, then])) == {"done": 2}
    assert kept(need) == 2  # though the other card had none left to give
    assert kept(loser) == 0


# --- a delivery comes while its card is cancelled -----------------------------------------------


def coming(office, stores, gasket, shelf):
    """Two are ordered for a card, and counted on a delivery that isn't posted yet."""
    need = need_of(office, gasket, "2")
    line = actions.order_for(need.pk, by=stores)
    order = buying.send_order(line.order_id, None, by=stores, how="phone")
    receipt = buying.open_receipt(by=stores, order_id=order.pk, delivery_note="4711", bin_id=shelf.pk)
    buying.fill_receipt(receipt.pk, by=stores)
    return need, receipt


def cancelled_first(need, by, then):
    """Cancel the card, and commit only when the other has had its chance."""
    cancelled, done = threading.Event(), threading.Event()

    def cancel():
        def work():
            cards.cancel_card(need.stage.card_id, by=by, reason="Sold the boat")
            cancelled.set()
            done.wait(1)

        writing.run(work)

    def other():
        cancelled.wait(10)
        result = then()
        done.set()
        return result

    return race([cancel, other])


def test_nothing_is_kept_for_a_card_that_is_cancelled_meanwhile(office, stores, gasket, shelf):
    need, receipt = coming(office, stores, gasket, shelf)
    results = cancelled_first(need, office, lambda: buying.post_receipt(receipt.pk, None, by=stores))
    assert outcomes(results) == {"done": 2}, results
    assert kept(need) == 0
    assert StockLevel.objects.get(part=gasket).on_hand == 2
    assert not Reservation.objects.filter(ended_at__isnull=True).exists()


@pytest.mark.postgres
def test_control_without_the_lock_it_is_kept_for_the_cancelled_card(office, stores, gasket, shelf, monkeypatch):
    need, receipt = coming(office, stores, gasket, shelf)
    monkeypatch.setattr(arriving, "hold_cards", lambda ids: list(ids))
    results = cancelled_first(need, office, lambda: buying.post_receipt(receipt.pk, None, by=stores))
    assert outcomes(results) == {"done": 2}, results
    assert kept(need) == 2


def test_who_cancels_waits_for_the_delivery_and_gives_it_back(office, stores, gasket, shelf):
    need, receipt = coming(office, stores, gasket, shelf)
    results = race([
        lambda: buying.post_receipt(receipt.pk, None, by=stores),
        lambda: cards.cancel_card(need.stage.card_id, by=office, reason="Sold the boat"),
    ])  # fmt: skip
    assert outcomes(results) == {"done": 2}, results
    assert kept(need) == 0
    assert StockLevel.objects.get(part=gasket).reserved == 0
    assert list(ledger.wrong()) == []


# --- kept while its card is cancelled -----------------------------------------------------------


def test_nothing_is_kept_by_hand_for_a_card_that_is_cancelled_meanwhile(office, stores, gasket, shelf):
    stock.lot(stores, gasket.pk, "2", at=shelf)
    need = need_of(office, gasket, "2")
    results = cancelled_first(need, office, lambda: actions.keep(need.pk, by=stores))
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert kept(need) == 0


@pytest.mark.postgres
def test_control_without_the_lock_it_is_kept_by_hand(office, stores, gasket, shelf, monkeypatch):
    stock.lot(stores, gasket.pk, "2", at=shelf)
    need = need_of(office, gasket, "2")
    held = locking._HELD
    monkeypatch.setattr(locking, "_HELD", Joined(held.sql, **held.tables))
    results = cancelled_first(need, office, lambda: actions.keep(need.pk, by=stores))
    assert outcomes(results) == {"done": 2}, results
    assert kept(need) == 2


# --- two order the same ---------------------------------------------------------------------------


def test_two_who_order_what_is_missing_order_it_once(office, stores, owner, gasket):
    need = need_of(office, gasket, "2")
    results = race([lambda: actions.order_for(need.pk, by=stores), lambda: actions.order_for(need.pk, by=owner)])
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert (OrderLine.objects.get().quantity, Promise.objects.get().quantity) == (2, 2)


@pytest.mark.postgres
def test_control_without_the_lock_it_is_ordered_twice(office, stores, owner, gasket, monkeypatch):
    need = need_of(office, gasket, "2")
    read_only(monkeypatch, ordering)
    together, asked = threading.Barrier(2), ordering.situation

    def situation(*args):
        found = asked(*args)
        together.wait(5)
        return found

    monkeypatch.setattr(ordering, "situation", situation)
    results = race([lambda: actions.order_for(need.pk, by=stores), lambda: actions.order_for(need.pk, by=owner)])
    assert outcomes(results) == {"done": 2}, results
    assert Promise.objects.get().quantity == 4


# --- one tray for two stages ----------------------------------------------------------------------


def two_fill(office, stores, owner):
    first, second = (a_stage(a_card(office), chargeable=False) for _ in range(2))
    return [
        lambda: actions.put_in_tray(first.pk, by=stores, number="12"),
        lambda: actions.put_in_tray(second.pk, by=owner, number="12"),
    ]


def test_one_tray_is_not_given_to_two_stages_at_once(office, stores, owner):
    results = race(two_fill(office, stores, owner))
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert TrayUse.objects.get().called == "12"


@pytest.mark.postgres
def test_control_without_the_lock_both_get_it(office, stores, owner, monkeypatch):
    works, together = two_fill(office, stores, owner), threading.Barrier(2)

    def unlocked(site_id, number):
        Tray.objects.bulk_create([Tray(site_id=site_id, number=number)], ignore_conflicts=True)
        return Tray.objects.get(site_id=site_id, number=number)

    noted = trays.must_be_current

    def current(stage):
        noted(stage)
        together.wait(5)

    site = a_card(office).site
    Tray.objects.create(site=site, number="12")  # it was used before: making it anew would make one wait
    monkeypatch.setattr(trays, "_held_tray", unlocked)
    monkeypatch.setattr(trays, "must_be_current", current)
    reading = threading.Barrier(2)
    plain = trays.TrayUse.objects.create

    def create(**values):
        reading.wait(5)
        return plain(**values)

    monkeypatch.setattr(trays.TrayUse.objects, "create", create)
    assert outcomes(race(works)) == {"done": 2}
    assert TrayUse.objects.count() == 2
