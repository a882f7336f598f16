"""Things that ask for somebody, made as they come about."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from inventory.buying.models import OrderLine
from inventory.parts.models import Part
from inventory.stock import actions as stock
from inventory.stock.models import Balance, Lot
from jobs.draws import actions as draws
from jobs.draws.models import Need
from shop.kernel import clock
from shop.people.models import Person
from tests.factories import buying
from tests.factories.desk import Scene
from tests.factories.stock import lot


def runs_low(part: Part, point: str = "5") -> None:
    Part.objects.filter(pk=part.pk).update(reorder_point=Decimal(point))


def expires_in(part: Part, days: int) -> Lot:
    """What lies of a part goes, and as much comes that keeps for so many days."""
    by = Person.objects.get(username="tamsin")
    (old,) = Balance.objects.filter(part=part, on_hand__gt=0).select_related("bin")
    fresh = lot(by, part.pk, str(old.on_hand), "0.115", at=old.bin, expires_on=clock.today() + timedelta(days=days))
    stock.scrap(by=by, lot_id=old.lot_id, bin_id=old.bin_id, quantity=old.on_hand, reason="Dented")
    return fresh


def ordered(by: Person, part: Part, days: int, quantity: str = "10", **more: Any):
    """An order whose one line is due in so many days (below zero: overdue)."""
    order = buying.sent(by, part, quantity, **more)
    OrderLine.objects.filter(order=order).update(due_on=clock.today() + timedelta(days=days))
    return order


def kept_goes_bad(shop: Scene, by: Person) -> Need:
    """The sealant of the fit stage is kept, and ends two days from now; the card is promised in five."""
    expires_in(shop.tube, 2)
    return draws.keep(Need.objects.get(stage=shop.fit, part=shop.tube).pk, by=by)
