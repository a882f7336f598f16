"""What the invented shop would order today: rules of its own, a shelf that ran low, proposals, one of them put off."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from inventory.parts import actions as parts
from inventory.parts.models import Part
from inventory.reorder import actions as reorder
from inventory.reorder import planning, queries
from inventory.stock import actions as stock
from inventory.stock.models import Balance, StockLevel
from shop.kernel import clock
from shop.people.models import Person

LOW = {"BRG-421": "0", "PMP-601": "0", "FAS-702": "4", "OIL-811": "2", "SEA-203": "1", "CLN-821": "1", "VLV-502": "0"}
BY_HAND = {"SUN-832": "30", "FIL-612": "30"}  # ordered when there are so many or fewer, whatever the past says


def propose(*, moment: datetime, owner: Person, stores: Person) -> None:
    with clock.at(moment - timedelta(days=40)):
        reorder.add_rule(by=owner, service_percent=Decimal(95), lead_days=10, budget=Decimal(900))
        reorder.add_rule(by=owner, kind="gasket", service_percent=Decimal(98))
        for row in Part.objects.filter(number__in=BY_HAND):
            parts.edit_part(row.pk, None, by=stores, reorder_point=Decimal(BY_HAND[row.number]))
    with clock.at(moment - timedelta(minutes=30)):
        for row in Part.objects.filter(number__in=LOW):
            _count_down(row, Decimal(LOW[row.number]), stores)
    with clock.at(moment):
        reorder.keep_run(planning.work_out(), by=None)
        last = queries.proposals().order_by("-rank").first()
        if last:
            note = "Marram bring their spring price list next month."
            reorder.put_off(last.pk, None, by=stores, note=note, until=clock.today() + timedelta(days=35))


def _count_down(part: Part, left: Decimal, stores: Person) -> None:
    kept = StockLevel.objects.filter(part=part).values_list("reserved", flat=True).first() or Decimal(0)
    left = max(left, kept)
    for row in Balance.objects.filter(part=part, on_hand__gt=0).order_by("pk"):
        counted = min(row.on_hand, left)
        left -= counted
        if counted < row.on_hand:
            stock.count(by=stores, lot_id=row.lot_id, bin_id=row.bin_id, counted=counted, reason="Monthly count")
