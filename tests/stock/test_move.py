"""Transfers, scrap, counts, opened containers, promises, bins."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest

from inventory.stock import actions, queries
from inventory.stock.models import Balance, Lot, Movement, Reservation, StockLevel
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused, Stale
from shop.trail.models import TrailRow
from tests.factories import moments
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


def keep(by, part, site, quantity, label="card 26-0031", **more):
    return actions.reserve(by=by, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label=label, **more)


def test_a_transfer_carries_lot_and_cost_along(stores, gasket, shelf, site):
    lot = made.lot(stores, gasket.pk, "5", "4.20")
    box = made.bin_(stores, "BOX-J", "box")
    out, into = actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=shelf.pk, to_bin_id=box.pk, quantity=D(2))
    assert (out.quantity, into.quantity) == (D(-2), D(2))
    assert out.value + into.value == 0
    assert out.posting == into.posting
    assert StockLevel.objects.get().on_hand == 5
    with pytest.raises(Refused, match="Only 3"):
        actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=shelf.pk, to_bin_id=box.pk, quantity=D(4))
    with pytest.raises(BadInput):
        actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=shelf.pk, to_bin_id=shelf.pk, quantity=D(1))


def test_to_another_site_only_what_nobody_was_promised(stores, gasket, shelf, site):
    lot = made.lot(stores, gasket.pk, "5")
    far = made.bin_(stores, "F1", at=made.site("FARM"))
    keep(stores, gasket, site, "4")
    move = {"by": stores, "lot_id": lot.pk, "from_bin_id": shelf.pk, "to_bin_id": far.pk}
    with pytest.raises(Refused, match="card 26-0031") as refusal:
        actions.transfer(quantity=D(2), **move)
    assert refusal.value.code == "kept-for-others"
    actions.transfer(quantity=D(1), **move)
    assert {level.site.code: level.on_hand for level in StockLevel.objects.all()} == {"QUAY": D(4), "FARM": D(1)}


def test_into_quarantine_only_what_nobody_was_promised(stores, gasket, shelf, site):
    lot = made.lot(stores, gasket.pk, "5")
    quarantine = made.bin_(stores, "Q1", "quarantine")
    keep(stores, gasket, site, "4")
    move = {"by": stores, "lot_id": lot.pk, "from_bin_id": shelf.pk, "to_bin_id": quarantine.pk}
    with pytest.raises(Refused):
        actions.transfer(quantity=D(2), **move)
    actions.transfer(quantity=D(1), **move)
    assert queries.free(gasket.pk, site.pk) == 0


def test_scrap_needs_a_reason_and_spares_what_is_kept(stores, gasket, shelf, site):
    lot = made.lot(stores, gasket.pk, "5", "4.20")
    keep(stores, gasket, site, "4")
    scrap = {"by": stores, "lot_id": lot.pk, "bin_id": shelf.pk}
    with pytest.raises(BadInput):
        actions.scrap(quantity=D(1), reason=" ", **scrap)
    with pytest.raises(Refused, match="4 are kept for card 26-0031"):
        actions.scrap(quantity=D(2), reason="creased", **scrap)
    movement = actions.scrap(quantity=D(1), reason="creased", **scrap)
    assert (movement.quantity, movement.value, movement.reason) == (D(-1), D("-4.2"), "creased")


def test_expired_stock_can_be_scrapped_beside_a_promise(stores, sealant, shelf, site, monkeypatch):
    old = made.lot(stores, sealant.pk, "40", expires_on=clock.today())
    later = moments.away(2)
    monkeypatch.setattr(clock, "now", lambda: later)
    made.lot(stores, sealant.pk, "30")
    keep(stores, sealant, site, "30")
    actions.scrap(by=stores, lot_id=old.pk, bin_id=shelf.pk, quantity=D(40), reason="expired")
    assert StockLevel.objects.get().on_hand == 30


def test_a_count_posts_the_difference_with_its_reason(stores, gasket, shelf):
    lot = made.lot(stores, gasket.pk, "5", "4.20")
    count = {"by": stores, "lot_id": lot.pk, "bin_id": shelf.pk}
    assert actions.count(counted=D(5), **count) is None
    assert TrailRow.objects.filter(verb="stock.counted").exists()
    with pytest.raises(BadInput, match="5 lie there"):
        actions.count(counted=D(3), **count)
    movement = actions.count(counted=D(3), reason="two in the wrong drawer", **count)
    assert (movement.quantity, movement.value) == (D(-2), D("-8.4"))
    assert actions.count(counted=D(4), reason="found one", **count).quantity == 1
    assert actions.count(counted=D(0), reason="none left", **count).quantity == -4
    for bad in ("-1", "0.5", "NaN"):
        with pytest.raises(BadInput):
            actions.count(counted=D(bad), reason="x", **count)
    other = made.bin_(stores, "B1")
    found = actions.count(by=stores, lot_id=lot.pk, bin_id=other.pk, counted=D(2), reason="they lay here")
    assert found.quantity == 2


def test_a_count_below_what_is_promised_shortens_the_last_wanted_promise(stores, gasket, shelf, site):
    lot = made.lot(stores, gasket.pk, "5")
    today = clock.today()
    soon = keep(stores, gasket, site, "2", "card 26-0031", wanted_on=today + timedelta(days=1))
    undated = keep(stores, gasket, site, "1", "card 26-0032")
    late = keep(stores, gasket, site, "2", "card 26-0033", wanted_on=today + timedelta(days=9))
    actions.count(by=stores, lot_id=lot.pk, bin_id=shelf.pk, counted=D(3), reason="damp, thrown out")
    quantities = [Reservation.objects.get(pk=r.pk).quantity for r in (soon, late, undated)]
    assert quantities == [D(2), D(1), D(0)]
    assert StockLevel.objects.get().reserved == 3
    assert TrailRow.objects.filter(verb="reservation.cut").count() == 2


def test_a_promise_shrinks_what_is_free_and_can_change_and_end(stores, gasket, shelf, site):
    made.lot(stores, gasket.pk, "5")
    promise = keep(stores, gasket, site, "3")
    assert queries.free(gasket.pk, site.pk) == 2
    with pytest.raises(Refused) as refusal:
        keep(stores, gasket, site, "3", "card 26-0040")
    assert "3 are kept for card 26-0031" in refusal.value.message
    with pytest.raises(Refused):
        actions.change_reservation(promise.pk, D(6), by=stores)
    actions.change_reservation(promise.pk, D(5), by=stores)
    assert queries.free(gasket.pk, site.pk) == 0
    actions.change_reservation(promise.pk, D(1), by=stores)
    assert queries.free(gasket.pk, site.pk) == 4
    actions.release(promise.pk, by=stores)
    actions.release(promise.pk, by=stores)
    assert queries.free(gasket.pk, site.pk) == 5
    assert TrailRow.objects.filter(verb="reservation.released").count() == 1
    with pytest.raises(Refused, match="ended"):
        actions.change_reservation(promise.pk, D(1), by=stores)
    with pytest.raises(NotFound):
        actions.release(9999, by=stores)
    for bad in ("0", "-1", "0.5", "NaN"):
        with pytest.raises(BadInput):
            keep(stores, gasket, site, bad)


def test_what_expires_is_not_promised(stores, sealant, shelf, site, monkeypatch):
    made.lot(stores, sealant.pk, "70", expires_on=clock.today())
    later = moments.away(2)
    monkeypatch.setattr(clock, "now", lambda: later)
    with pytest.raises(Refused, match="expired"):
        keep(stores, sealant, site, "1")


def test_opening_a_tube_starts_the_shorter_life(stores, sealant, shelf, site):
    lot = made.lot(stores, sealant.pk, "70")
    opened = actions.open_lot(by=stores, lot_id=lot.pk)
    assert opened.pk == lot.pk
    assert opened.last_day == clock.today() + timedelta(days=30)
    with pytest.raises(Refused, match="was opened"):
        actions.open_lot(by=stores, lot_id=lot.pk)
    near = made.lot(stores, sealant.pk, "70", expires_on=clock.today() + timedelta(days=3))
    assert actions.open_lot(by=stores, lot_id=near.pk).last_day == clock.today() + timedelta(days=3)


def test_opening_one_tube_of_six_makes_it_a_lot_of_its_own(stores, sealant, shelf, site):
    lot = made.lot(stores, sealant.pk, "420", "0.2", batch="K7")
    opened = actions.open_lot(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(70))
    assert (opened.opened_from_id, opened.batch, opened.number) == (lot.pk, "K7", f"{lot.number}-1")
    assert dict(Balance.objects.values_list("lot", "on_hand")) == {lot.pk: D(350), opened.pk: D(70)}
    (taken,) = actions.draw(by=stores, part_id=sealant.pk, site_id=site.pk, quantity=D(12), label="card 26-0031")
    assert taken.lot_id == opened.pk
    with pytest.raises(Refused):
        actions.open_lot(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(351))
    assert Lot.objects.get(pk=lot.pk).opened_at is None


def test_a_part_without_open_life_keeps_its_expiry(stores, shelf):
    part = made_parts.sealant(stores, "GRE-400", open_life_days=None)
    lot = made.lot(stores, part.pk, "400")
    assert actions.open_lot(by=stores, lot_id=lot.pk).last_day == lot.expires_on


def test_bins(stores, gasket, site):
    shelf = made.bin_(stores, "A3-02")
    with pytest.raises(BadInput):
        actions.add_bin(by=stores, site_id=site.pk, code="a3-02")
    with pytest.raises(BadInput):
        actions.add_bin(by=stores, site_id=site.pk, code=" ")
    with pytest.raises(NotFound):
        actions.add_bin(by=stores, site_id=99, code="X")
    actions.edit_bin(shelf.pk, 1, by=stores, name="Gaskets")
    with pytest.raises(Stale):
        actions.edit_bin(shelf.pk, 1, by=stores, name="Seals")
    lot = made.lot(stores, gasket.pk, "5", at=shelf)
    with pytest.raises(Refused, match="GKT-041"):
        actions.archive_bin(shelf.pk, None, by=stores)
    with pytest.raises(Refused, match="GKT-041"):
        actions.edit_bin(shelf.pk, None, by=stores, kind="quarantine")
    actions.count(by=stores, lot_id=lot.pk, bin_id=shelf.pk, counted=D(0), reason="gone")
    actions.archive_bin(shelf.pk, None, by=stores)
    with pytest.raises(NotFound, match="no longer used"):
        made.lot(stores, gasket.pk, "5", at=shelf)
    assert Movement.objects.filter(bin=shelf).count() == 2
