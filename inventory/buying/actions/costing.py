"""What a receipt's line cost in the end goes into the value of its lot."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import Q, Sum

from inventory.stock import actions as stock
from inventory.stock.models import Lot
from shop.kernel.errors import Refused
from shop.kernel.rounding import EXACT
from shop.people.models import Person

from .. import landing
from ..models import ReceiptLine, SupplierInvoiceLine

ZERO = Decimal(0)
_EFFECT = SupplierInvoiceLine.Effect


def charged(row: ReceiptLine) -> Decimal:
    """How much of a line is charged by invoices, less what went back and was credited."""
    sums = row.billed.aggregate(
        more=Sum("quantity", filter=Q(effect=_EFFECT.CHARGED)), less=Sum("quantity", filter=Q(effect=_EFFECT.RETURNED))
    )
    return (sums["more"] or ZERO) - (sums["less"] or ZERO)


def revalue(row: ReceiptLine, reason: str, by: Person) -> None:
    """Bring the cost of the lot to what is known now; nothing when that is what it has. The receipt is locked by the caller.
    Raises Refused when it would be below nothing."""
    more = row.billed.aggregate(d=Sum("difference"))["d"] or ZERO
    back = row.sent_back.aggregate(q=Sum("quantity"))["q"] or ZERO
    goods = EXACT.multiply(row.net or ZERO, row.receipt.rate)
    cost = landing.cost_now(goods, (row.value or ZERO) - goods, row.quantity, back, charged(row), more)
    if cost < 0:
        raise Refused(f"{row.part.number}: less would be paid than nothing. Compare with the invoice.", code="negative")
    if cost != Lot.objects.get(pk=row.lot_id).cost:
        stock.revalue(by=by, lot_id=row.lot_id or 0, new_unit_cost=cost, reason=reason[:200])
