from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest

from inventory.parts import actions as parts
from inventory.stock import actions
from inventory.stock.models import Lot, Movement, StockLevel
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotAllowed, NotFound, Refused
from tests.factories import moments
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


def test_a_lot_with_its_cost_batch_and_expiry(stores, sealant, shelf):
    lot = made.lot(stores, sealant.pk, "140", "0.171429", batch="K7", source="Gullhaven Seals, note 114")
    assert lot.number.startswith("L-")
    assert lot.expires_on == clock.today() + timedelta(days=540)
    movement = Movement.objects.get()
    assert (movement.kind, movement.quantity, movement.value) == ("receipt", D(140), D("24.00006"))
    assert StockLevel.objects.get().on_hand == 140
    sealant.refresh_from_db()
    assert sealant.unit_fixed


def test_the_unit_stays_once_something_was_counted_in_it(stores, sealant, shelf):
    made.lot(stores, sealant.pk, "70")
    with pytest.raises(Refused, match="millilitre"):
        parts.edit_part(sealant.pk, None, by=stores, unit="C62")
    parts.edit_part(sealant.pk, None, by=stores, unit="MLT", name="Flange sealant, grey")


def test_an_expired_batch_is_refused_unless_an_owner_takes_it_into_quarantine(stores, owner, sealant, shelf):
    gone = {"expires_on": clock.today() - timedelta(days=1)}
    with pytest.raises(Refused, match="expired on"):
        made.lot(stores, sealant.pk, "70", **gone)
    quarantine = made.bin_(stores, "Q1", "quarantine")
    with pytest.raises(NotAllowed):
        made.lot(stores, sealant.pk, "70", at=quarantine, accept_expired="to show the supplier", **gone)
    with pytest.raises(Refused, match="quarantine"):
        made.lot(owner, sealant.pk, "70", at=shelf, accept_expired="to show the supplier", **gone)
    made.lot(owner, sealant.pk, "70", at=quarantine, accept_expired="to show the supplier", **gone)
    assert Movement.objects.get().override == "to show the supplier"


def test_a_serial_number_is_one_piece_and_lies_in_one_place(stores, gasket, sealant, shelf):
    with pytest.raises(BadInput):
        made.lot(stores, gasket.pk, "2", serial_no="IP-77")
    with pytest.raises(BadInput):
        made.lot(stores, sealant.pk, "1", serial_no="IP-77")
    lot = made.lot(stores, gasket.pk, "1", serial_no="IP-77")
    with pytest.raises(Refused, match="already"):
        made.lot(stores, gasket.pk, "1", serial_no="ip-77")
    actions.scrap(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(1), reason="dropped")
    made.lot(stores, gasket.pk, "1", serial_no="IP-77")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("quantity", D(0)), ("quantity", D(-3)), ("quantity", D("0.5")), ("quantity", D("NaN")),
        ("quantity", D("1e12")), ("unit_cost", D("-0.01")), ("unit_cost", D("Infinity")), ("unit_cost", D("1e9")),
        ("unit_cost", D("0.0000001")), ("currency", "JPY"), ("received_at", "tomorrow"), ("batch", "x" * 41),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_writes_nothing(stores, gasket, shelf, field, value):
    values = {"quantity": D(5), "unit_cost": D("4.20")}
    values[field] = moments.away(1) if value == "tomorrow" else value
    with pytest.raises(BadInput) as refusal:
        actions.receive(by=stores, part_id=gasket.pk, bin_id=shelf.pk, **values)
    assert field in refusal.value.fields
    assert not Lot.objects.exists()
    assert not StockLevel.objects.exists()


def test_quantity_times_cost_has_a_bound(stores, gasket, shelf):
    with pytest.raises(BadInput, match="too large"):
        made.lot(stores, gasket.pk, "900000", "900000")


def test_a_part_put_away_and_places_that_are_not_there(stores, gasket, shelf):
    with pytest.raises(NotFound):
        made.lot(stores, 9999)
    with pytest.raises(NotFound):
        actions.receive(by=stores, part_id=gasket.pk, bin_id=9999, quantity=D(1), unit_cost=D(1))
    parts.archive_part(gasket.pk, None, by=stores)
    with pytest.raises(Refused, match="put away"):
        made.lot(stores, gasket.pk)


def test_many_at_once_say_what_became_of_each(stores, gasket, sealant, shelf):
    def arrival(part, quantity, cost="1"):
        return actions.Arrival(part.pk, shelf.pk, D(quantity), D(cost))

    outcomes = actions.receive_each(
        by=stores, arrivals=[arrival(gasket, "5"), arrival(gasket, "0.5"), arrival(sealant, "70")]
    )
    assert [bool(o.lot) for o in outcomes] == [True, False, True]
    assert outcomes[1].error.fields
    assert [m.quantity for m in Movement.objects.order_by("id")] == [D(5), D(70)]
    with pytest.raises(BadInput) as refusal:
        actions.receive_many(by=stores, arrivals=[arrival(gasket, "5"), arrival(gasket, "0.5")])
    assert refusal.value.facts["item"] == 1
    assert Movement.objects.count() == 2
    with pytest.raises(BadInput):
        actions.receive_each(by=stores, arrivals=[arrival(gasket, "1")] * 501)
