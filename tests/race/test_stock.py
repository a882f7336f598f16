"""Two people can't draw the last gasket. On both databases; each with a control that fails when the lock is out."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db.models import Sum

from inventory.parts import actions as catalogue
from inventory.stock import actions, ledger, posting
from inventory.stock.models import Balance, Movement, Reservation, StockLevel
from shop.trail.models import TrailRow
from tests.factories import parts as made_parts
from tests.factories import stock as made
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)

CLIENTS = 50


@pytest.fixture
def gasket(stores):
    return made_parts.part(stores)


@pytest.fixture
def site(db):
    return made.site()


def drawing(by, part, site, quantity="1", **more):
    def work():
        return actions.draw(by=by, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label="card 26-0031", **more)

    return work


def reserving(by, part, site, quantity="1"):
    def work():
        return actions.reserve(by=by, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label="card 26-0040")

    return work


def check_against(start: int) -> None:
    level = StockLevel.objects.get()
    drawn = -(Movement.objects.filter(kind="draw").aggregate(q=Sum("quantity"))["q"] or 0)
    assert level.on_hand == start - drawn
    assert list(ledger.wrong()) == []


def without_the_lock(monkeypatch):
    """The same code, with the rows read and not locked."""

    def unlocked(wanted):
        rows = StockLevel.objects.select_related("part").order_by("pk")
        return {(row.part_id, row.site_id): row for row in rows if (row.part_id, row.site_id) in wanted}

    monkeypatch.setattr(posting, "_locked", unlocked)


@pytest.mark.parametrize("there", [1, 17])
def test_fifty_want_the_last_ones(stores, gasket, site, there):
    made.lot(stores, gasket.pk, str(there))
    rows = TrailRow.objects.count()
    results = race([drawing(stores, gasket, site) for _ in range(CLIENTS)])
    assert outcomes(results) == {"done": there, "refused": CLIENTS - there}
    assert StockLevel.objects.get().on_hand == 0
    assert TrailRow.objects.count() - rows == there
    check_against(there)


@pytest.mark.postgres
def test_control_without_the_lock_it_oversells(stores, gasket, site, monkeypatch):
    """Twelve at once see the same seventeen; without the lock they overwrite each other's balance."""
    made.lot(stores, gasket.pk, "17")
    without_the_lock(monkeypatch)
    results = race([drawing(stores, gasket, site, "2") for _ in range(CLIENTS)])
    done = outcomes(results)["done"]
    assert done * 2 > 17 or outcomes(results).keys() - {"done", "refused"}
    assert list(ledger.wrong()) != []


@pytest.mark.parametrize("there", [1, 17])
def test_a_promise_and_a_draw_do_not_take_the_same_piece(stores, gasket, site, there):
    made.lot(stores, gasket.pk, str(there))
    half = CLIENTS // 2
    results = race([drawing(stores, gasket, site), reserving(stores, gasket, site)] * half)
    assert outcomes(results) == {"done": there, "refused": CLIENTS - there}
    level = StockLevel.objects.get()
    assert level.reserved == level.on_hand == sum(Reservation.objects.values_list("quantity", flat=True))
    check_against(there)


@pytest.mark.postgres
def test_control_without_the_lock_a_promise_takes_what_was_drawn(stores, gasket, site, monkeypatch):
    made.lot(stores, gasket.pk, "17")
    without_the_lock(monkeypatch)
    results = race([drawing(stores, gasket, site), reserving(stores, gasket, site)] * (CLIENTS // 2))
    assert outcomes(results)["done"] != 17 or list(ledger.wrong()) != []


def test_ones_own_promise_is_used_once(stores, gasket, site):
    made.lot(stores, gasket.pk, "10")
    own = reserving(stores, gasket, site, "4")()
    reserving(stores, gasket, site, "6")()
    results = race([drawing(stores, gasket, site, reservation_id=own.pk) for _ in range(12)])
    assert outcomes(results) == {"done": 4, "refused": 8}
    own.refresh_from_db()
    assert own.quantity == 0
    check_against(10)


def test_transfers_in_opposite_order_end(stores, gasket, site):
    """Across two sites both levels are locked; by key, so that nobody holds what the other waits for."""
    far = made.bin_(stores, "F1", at=made.site("FARM"))
    near = made.bin_(stores)
    lot = made.lot(stores, gasket.pk, "40")
    actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=near.pk, to_bin_id=far.pk, quantity=D(20))

    def move(a, b):
        return lambda: actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=a.pk, to_bin_id=b.pk, quantity=D(1))

    results = race([move(near, far), move(far, near)] * 15)
    assert outcomes(results) == {"done": 30}
    assert set(Balance.objects.values_list("on_hand", flat=True)) == {D(20)}
    assert list(ledger.wrong()) == []


def test_receipts_at_once_of_parts_in_opposite_order(stores, gasket, site):
    other = made_parts.sealant(stores)
    shelf = made.bin_(stores)

    def receive(*parts):
        arrivals = [actions.Arrival(p.pk, shelf.pk, D(1), D(2)) for p in parts]
        return lambda: actions.receive_many(by=stores, arrivals=arrivals)

    results = race([receive(gasket, other), receive(other, gasket)] * 10)
    assert outcomes(results) == {"done": 20}
    assert [level.on_hand for level in StockLevel.objects.all()] == [D(20), D(20)]
    assert list(ledger.wrong()) == []


def test_a_count_while_others_draw(stores, gasket, site):
    lot = made.lot(stores, gasket.pk, "30")
    shelf = made.bin_(stores)

    def count():
        return actions.count(by=stores, lot_id=lot.pk, bin_id=shelf.pk, counted=D(25), reason="counted")

    results = race([drawing(stores, gasket, site) for _ in range(15)] + [count])
    assert outcomes(results) == {"done": 16}
    assert list(ledger.wrong()) == []


def test_a_draw_comes_back_once(stores, gasket, site):
    made.lot(stores, gasket.pk, "5")
    (movement,) = drawing(stores, gasket, site, "3")()
    results = race([lambda: actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1)) for _ in range(12)])
    assert outcomes(results) == {"done": 3, "refused": 9}
    assert StockLevel.objects.get().on_hand == 5
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_a_draw_comes_back_too_often(stores, gasket, site, monkeypatch):
    made.lot(stores, gasket.pk, "5")
    (movement,) = drawing(stores, gasket, site, "3")()
    without_the_lock(monkeypatch)
    monkeypatch.setattr("inventory.stock.actions.drawing.hold_bins", lambda *ids: None)
    results = race([lambda: actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1)) for _ in range(12)])
    assert outcomes(results)["done"] > 3


def test_a_bin_is_not_put_away_under_an_arrival(stores, gasket, site):
    shelf = made.bin_(stores, "Z9")
    made.lot(stores, gasket.pk, "1")

    def archive():
        return actions.archive_bin(shelf.pk, None, by=stores)

    for _ in range(3):
        results = race([lambda: made.lot(stores, gasket.pk, "1", at=shelf), archive] * 4)
        shelf.refresh_from_db()
        lying = sum(Balance.objects.filter(bin=shelf).values_list("on_hand", flat=True))
        assert not (shelf.archived_at and lying)
        assert set(outcomes(results)) <= {"done", "refused"}


@pytest.fixture
def kits(stores, gasket):
    """Seventeen kits of two gaskets and a ring; an eighteenth is broken open, so that there is a level of each part."""
    kit, ring = made_parts.part(stores, "KIT-1", "Gasket kit, B2"), made_parts.part(stores, "RNG-1", "Ring")
    catalogue.put_in_kit(kit.pk, by=stores, part_id=gasket.pk, quantity=D(2))
    catalogue.put_in_kit(kit.pk, by=stores, part_id=ring.pk, quantity=D(1))
    lot = made.lot(stores, kit.pk, "18", "43.00")
    breaking(stores, lot)()
    return lot


def breaking(by, lot, quantity="1"):
    return lambda: actions.break_open(by=by, lot_id=lot.pk, bin_id=made.bin_(by).pk, quantity=D(quantity))


def test_twelve_break_the_same_kits_open(stores, gasket, kits):
    """Two at a time of seventeen: eight find enough, and two gaskets lie there for each kit that is gone."""
    results = race([breaking(stores, kits, "2") for _ in range(12)])
    assert outcomes(results) == {"done": 8, "refused": 4}
    assert Balance.objects.get(lot=kits).on_hand == 1
    assert Balance.objects.filter(part=gasket).aggregate(q=Sum("on_hand"))["q"] == 2 + 32
    assert Movement.objects.aggregate(v=Sum("value"))["v"] == 18 * D("43.00")
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
def test_control_without_the_lock_kits_are_broken_open_twice(stores, kits, monkeypatch):
    without_the_lock(monkeypatch)
    monkeypatch.setattr("inventory.stock.actions.breaking.hold_bins", lambda *ids: {})  # all wait for the bin, too
    results = race([breaking(stores, kits, "2") for _ in range(12)])
    assert outcomes(results) != {"done": 8, "refused": 4} or list(ledger.wrong()) != []
