"""Taking from stock and bringing back."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock import actions, queries
from inventory.stock.models import Balance, Movement, StockLevel
from shop.kernel import clock
from shop.kernel.errors import BadInput, NeedsOverride, NotAllowed, NotFound, Refused
from shop.trail.models import TrailRow
from tests.factories import moments
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


def draw(by, part, quantity, site, **more):
    return actions.draw(by=by, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label="card 26-0031", **more)


def test_takes_the_oldest_lot_first_and_values_it_at_its_cost(stores, gasket, site):
    made.lot(stores, gasket.pk, "3", "4.20")
    made.lot(stores, gasket.pk, "5", "4.60")
    movements = draw(stores, gasket, "4", site)
    assert [(m.quantity, m.value) for m in movements] == [(D("-3"), D("-12.6")), (D("-1"), D("-4.6"))]
    assert len({m.posting for m in movements}) == 1
    level = StockLevel.objects.get()
    assert (level.on_hand, level.reserved) == (D(4), D(0))
    assert sorted(Balance.objects.values_list("on_hand", flat=True)) == [D(0), D(4)]
    assert TrailRow.objects.filter(verb="stock.draw").count() == 2


def test_takes_dated_lots_first_to_expire_first(stores, sealant, site):
    today = clock.today()
    late = made.lot(stores, sealant.pk, "70", expires_on=today + timedelta(days=90))
    soon = made.lot(stores, sealant.pk, "70", expires_on=today + timedelta(days=10))
    taken = draw(stores, sealant, "82.5", site)
    assert [(m.lot_id, m.quantity) for m in taken] == [(soon.pk, D("-70")), (late.pk, D("-12.5"))]


def test_twelve_millilitres_of_a_tube_of_seventy(stores, sealant, site):
    made.lot(stores, sealant.pk, "70", "0.171429")
    (movement,) = draw(stores, sealant, "12", site)
    assert (movement.quantity, movement.value) == (D("-12"), D("-2.057148"))
    assert queries.free(sealant.pk, site.pk) == D(58)


def test_the_day_of_expiry_still_counts_and_the_day_after_does_not(stores, sealant, site, monkeypatch):
    made.lot(stores, sealant.pk, "70", expires_on=clock.today())
    draw(stores, sealant, "1", site)
    tomorrow = moments.away(1)
    monkeypatch.setattr(clock, "now", lambda: tomorrow)
    assert queries.free(sealant.pk, site.pk) == 0
    with pytest.raises(NeedsOverride) as refusal:
        draw(stores, sealant, "1", site)
    assert "expired" in refusal.value.message
    assert "owner" in refusal.value.message


def test_an_expired_lot_needs_the_owner_and_a_reason(stores, owner, sealant, site, monkeypatch):
    old = made.lot(stores, sealant.pk, "70", expires_on=clock.today())
    later = moments.away(3)
    monkeypatch.setattr(clock, "now", lambda: later)
    fresh = made.lot(stores, sealant.pk, "10")
    with pytest.raises(NotAllowed):
        draw(stores, sealant, "12", site, override="only for the test rig")
    taken = draw(owner, sealant, "12", site, override="only for the test rig")
    assert [(m.lot_id, m.quantity, m.override) for m in taken] == [
        (fresh.pk, D(-10), ""),
        (old.pk, D(-2), "only for the test rig"),
    ]


def test_quarantine_is_on_hand_and_not_free(stores, gasket, site):
    made.lot(stores, gasket.pk, "3", at=made.bin_(stores, "Q1", "quarantine"))
    assert StockLevel.objects.get().on_hand == 3
    with pytest.raises(Refused) as refusal:
        draw(stores, gasket, "1", site)
    assert refusal.value.code == "not-enough"


def test_the_refusal_says_what_is_free_where_and_who_the_rest_is_kept_for(stores, gasket, site):
    made.lot(stores, gasket.pk, "3")
    actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(1), label="card 26-0031")
    with pytest.raises(Refused) as refusal:
        actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(3), label="card 26-0040")
    assert refusal.value.message == (
        "Only 2 of GKT-041 are free: 3 in bin A3-02. 1 is kept for card 26-0031. "
        "Draw 2, or take what is kept and tell the stores: they can free it."
    )
    assert refusal.value.facts["kept_for"] == [{"label": "card 26-0031", "quantity": "1"}]
    assert not Movement.objects.filter(kind="draw").exists()


def test_ones_own_reservation_counts_and_is_used_up(stores, gasket, site):
    made.lot(stores, gasket.pk, "5")
    own = actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(3), label="card 26-0031")
    actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(1), label="card 26-0040")
    draw(stores, gasket, "2", site, reservation_id=own.pk)
    own.refresh_from_db()
    assert (own.quantity, own.ended_at) == (D(1), None)
    with pytest.raises(Refused):
        draw(stores, gasket, "3", site, reservation_id=own.pk)
    draw(stores, gasket, "2", site, reservation_id=own.pk)  # one more than was promised
    own.refresh_from_db()
    assert own.quantity == 0
    assert own.ended_at is not None
    level = StockLevel.objects.get()
    assert (level.on_hand, level.reserved) == (D(1), D(1))


def test_only_from_one_bin_or_lot(stores, gasket, site):
    made.lot(stores, gasket.pk, "2")
    other = made.bin_(stores, "B1")
    lot = made.lot(stores, gasket.pk, "4", at=other)
    with pytest.raises(Refused, match="bin B1"):
        draw(stores, gasket, "5", site, bin_id=other.pk)
    assert draw(stores, gasket, "3", site, bin_id=other.pk)[0].lot_id == lot.pk
    assert draw(stores, gasket, "1", site, lot_id=lot.pk)[0].bin_id == other.pk
    with pytest.raises(Refused):
        draw(stores, gasket, "1", site, lot_id=lot.pk)


@pytest.mark.parametrize("quantity", ["0", "-1", "NaN", "Infinity", "0.5", "1000000000", "1E+30"])
def test_a_quantity_that_cannot_be_is_refused(stores, gasket, site, quantity):
    made.lot(stores, gasket.pk, "3")
    with pytest.raises(BadInput):
        draw(stores, gasket, quantity, site)
    assert StockLevel.objects.get().on_hand == 3


def test_what_is_not_there(stores, gasket, site):
    with pytest.raises(Refused, match="None of GKT-041"):
        draw(stores, gasket, "1", site)
    with pytest.raises(NotFound):
        actions.draw(by=stores, part_id=999, site_id=site.pk, quantity=D(1), label="x")


def test_back_to_its_lot_at_its_cost_and_never_more_than_was_drawn(stores, gasket, site):
    lot = made.lot(stores, gasket.pk, "5", "4.20")
    (movement,) = draw(stores, gasket, "3", site)
    back = actions.put_back(by=stores, movement_id=movement.pk, quantity=D(2), reason="not needed")
    assert (back.lot_id, back.quantity, back.value, back.reverses_id) == (lot.pk, D(2), D("8.4"), movement.pk)
    with pytest.raises(Refused, match="at most 1"):
        actions.put_back(by=stores, movement_id=movement.pk, quantity=D(2))
    actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1))
    with pytest.raises(Refused):
        actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1))
    assert StockLevel.objects.get().on_hand == 5
    assert queries.returned(movement.pk) == 3
    with pytest.raises(NotFound):
        actions.put_back(by=stores, movement_id=back.pk, quantity=D(1))


def test_back_into_another_bin(stores, gasket, site):
    made.lot(stores, gasket.pk, "5")
    (movement,) = draw(stores, gasket, "3", site)
    tray = made.bin_(stores, "T12", "tray")
    actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1), bin_id=tray.pk)
    assert {b.bin.code: b.on_hand for b in queries.places(gasket.pk)} == {"A3-02": D(2), "T12": D(1)}


@pytest.mark.django_db(transaction=True)
def test_a_draw_asks_the_database_as_seldom_as_it_can(stores, gasket, site, on_postgres):
    """BEGIN, the level locked, what lies where, a key for the second movement, all changes at once, COMMIT."""
    made.lot(stores, gasket.pk, "3", "4.20")
    made.lot(stores, gasket.pk, "5", "4.60")
    own = actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(6), label="card 26-0031")
    with CaptureQueriesContext(connection) as asked:
        draw(stores, gasket, "5", site, reservation_id=own.pk)
    assert len(asked) == (6 if on_postgres else 11)
