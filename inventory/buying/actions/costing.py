"""What a receipt's line cost in the end goes into the value of its lot."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal

from django.db.models import Q, Sum

from inventory.stock import actions as stock
from inventory.stock.models import Lot
from shop.kernel.errors import Refused
from shop.kernel.money import Money, split
from shop.kernel.rounding import EXACT
from shop.people.models import Person

from .. import landing
from ..models import GoodsReceipt, ReceiptLine, SupplierInvoice, SupplierInvoiceLine

ZERO = Decimal(0)
_EFFECT = SupplierInvoiceLine.Effect


def charged(rows: Collection[int]) -> dict[int, Decimal]:
    """How much of each of these receipt's lines is charged by invoices, less what went back and was credited; in one query."""
    sums = (
        SupplierInvoiceLine.objects.filter(receipt_line__in=rows)
        .order_by()
        .values("receipt_line")
        .annotate(
            more=Sum("quantity", filter=Q(effect=_EFFECT.CHARGED)),
            less=Sum("quantity", filter=Q(effect=_EFFECT.RETURNED)),
        )
    )
    found = {x["receipt_line"]: (x["more"] or ZERO) - (x["less"] or ZERO) for x in sums}
    return {pk: found.get(pk, ZERO) for pk in rows}


def extras(document: SupplierInvoice, receipts: Collection[int]) -> Decimal:
    """What freight and duty of an invoice (or, below zero, a credit note) over these receipts, before its lines are kept, change
    of what was counted into the goods at receipt, in its currency: a credit note takes out what was counted, and an invoice
    after it brings that back. Deliveries and invoices that hang together are looked at as one sum. The supplier is locked."""
    bills = list(
        SupplierInvoice.objects.filter(lines__receipt_line__receipt__in=receipts)
        .exclude(pk=document.pk)
        .distinct()
        .order_by("pk")
    )
    along = ReceiptLine.objects.filter(billed__invoice__in=bills).values("receipt")
    came = list(GoodsReceipt.objects.filter(Q(pk__in=receipts) | Q(pk__in=along)))
    found = ZERO
    for name in ("freight", "duty"):
        counted = sum((getattr(r, name) for r in came), ZERO)
        said = [-getattr(b, name) if b.credits_id else getattr(b, name) for b in [*bills, document]]
        found += landing.taken_out(counted, said[:-1]) - landing.taken_out(counted, said)
    return found


def spread(amount: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    """An amount, also one below zero, over lines by their weights, to the cent; alike over lines that all weigh nothing."""
    shares = split(Money(abs(amount), currency), weights if any(weights) else [Decimal(1)] * len(weights))
    return [x.amount if amount >= 0 else -x.amount for x in shares]


def revalue(row: ReceiptLine, reason: str, by: Person) -> None:
    """Bring the cost of the lot to what is known now; nothing when that is what it has. The receipt is locked by the caller.
    Raises Refused when it would be below nothing."""
    more = row.billed.aggregate(d=Sum("difference"))["d"] or ZERO
    back = row.sent_back.aggregate(q=Sum("quantity"))["q"] or ZERO
    goods = EXACT.multiply(row.net or ZERO, row.receipt.rate)
    cost = landing.cost_now(goods, (row.value or ZERO) - goods, row.quantity, back, charged([row.pk])[row.pk], more)
    if cost < 0:
        raise Refused(f"{row.part.number}: less would be paid than nothing. Compare with the invoice.", code="negative")
    if cost != Lot.objects.get(pk=row.lot_id).cost:
        stock.revalue(by=by, lot_id=row.lot_id or 0, new_unit_cost=cost, reason=reason[:200])
