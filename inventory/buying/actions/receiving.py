"""A delivery is posted into stock, and what of it goes back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from decimal import Decimal

from django.db.models import Sum

from inventory.stock import actions as stock
from inventory.stock.models import Lot
from shop.business.queries import profile
from shop.kernel import clock, quantity
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import DomainError, NeedsOverride, NotFound, Refused, field_error
from shop.kernel.quantity import Quantity
from shop.kernel.text import clean_line
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import record

from .. import arrivals, landing, packing
from ..models import GoodsReceipt, OrderLine, PurchaseOrder, ReceiptLine, SentBack
from . import costing
from .counting import lock_open
from .sending import settle

ZERO = Decimal(0)


@writes
def post_receipt(pk: int, expect: int | None, *, by: Person) -> GoodsReceipt:
    """All of it goes into stock at its landed cost: a lot for each line with the supplier's batch and expiry. Orders count it,
    what is missing stays awaited. From here on the receipt never changes.

    Raises NotFound, Stale, Refused (posted, empty, an expired batch outside quarantine, a serial number that is there, a
    currency without a rate), NotAllowed (an expired batch without an owner), NeedsOverride "over-delivered" (facts: lines)
    unless somebody with the right accepted it.
    """
    receipt = lock_open(pk, expect)
    lines = list(receipt.lines.select_related("part", "bin", "order_line"))
    if not lines:
        raise Refused("Nothing is on it. Scan or add what came, or throw it away.", code="no-lines")
    own = profile().currency
    if receipt.currency != own and receipt.rate == 1:
        raise Refused(
            f"It is charged in {receipt.currency}. Say under Costs what one {receipt.currency} is in {own}.",
            code="rate-missing",
        )
    orders = lock_orders({x.order_line.order_id for x in lines if x.order_line})
    wanted = {x.pk: x for x in OrderLine.objects.filter(order__in=orders).select_related("order")}
    _refuse_over(lines, wanted)
    _value(receipt, lines, own)
    arrivals.expect({x.part_id for x in lines if x.order_line})
    lots = _received(receipt, lines, by)
    for line, lot in zip(lines, lots, strict=True):
        line.lot = lot
        line.save(update_fields=["net", "freight", "duty", "value", "lot"])
    _count(orders, wanted, lines, receipt, by)
    save_next(receipt, number=number("GR", "receipt", clock.today().year), posted_at=clock.now(), posted_by=by)
    record(
        by, "receipt.posted", receipt, number=receipt.number, supplier=receipt.supplier.name, lines=len(lines),
        delivery_note=receipt.delivery_note,
    )  # fmt: skip
    for line in lines:
        if line.order_line is not None and line.lot is not None and not (line.bin or receipt.bin).is_quarantine:
            site_id = (line.bin or receipt.bin).site_id
            its = arrivals.Arrived(
                line.order_line.pk, line.order_line.label, line.part_id, site_id, line.lot.pk, line.quantity
            )
            arrivals.tell(by, its)
    return receipt


def lock_orders(ids: Collection[int]) -> dict[int, PurchaseOrder]:
    """The orders that a delivery counts for, by key: two who receive one order go one after the other. After the receipt, before
    the stock."""
    rows = PurchaseOrder.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=ids).order_by("pk")
    return {row.pk: row for row in rows}


def _refuse_over(lines: list[ReceiptLine], wanted: dict[int, OrderLine]) -> None:
    """More than is still awaited, or what nobody ordered, is for the office to accept."""
    left = {pk: row.open for pk, row in wanted.items()}
    over = []
    for line in lines:
        before = left.get(line.order_line_id or 0, ZERO)
        more = line.quantity - before
        if line.order_line_id is not None:
            left[line.order_line_id] = max(before - line.quantity, ZERO)
        if more > 0 and not line.over_reason:
            over.append((line, more, before))
    if not over:
        return
    said = [
        f"{Quantity(x.quantity, x.part.unit)} of {x.part.number} came, "
        + (f"{Quantity(before, x.part.unit)} are awaited" if x.order_line_id else "none was ordered")
        for x, _, before in over[:5]
    ]
    raise NeedsOverride(
        f"{'; '.join(said)}. Put in what you keep and send the rest back, or ask the office or the owner to accept it.",
        code="over-delivered",
        lines=[{"id": x.pk, "part_id": x.part_id, "over": plain(more)} for x, more, _ in over],
    )


def _value(receipt: GoodsReceipt, lines: list[ReceiptLine], own: str) -> None:
    nets = [packing.net(x.quantity, x.price, x.price_per, receipt.currency) for x in lines]
    spread = landing.landed(nets, receipt.freight, receipt.duty, receipt.currency, rate=receipt.rate, into=own)
    for line, net, its in zip(lines, nets, spread, strict=True):
        line.net, line.freight, line.duty, line.value = net, its.freight, its.duty, its.value


def _received(receipt: GoodsReceipt, lines: list[ReceiptLine], by: Person) -> list[Lot]:
    source = f"{receipt.supplier.name}, {receipt.delivery_note}"[:120]
    coming = [
        stock.Arrival(
            part_id=x.part_id, bin_id=x.bin_id or receipt.bin_id, quantity=x.quantity, batch=x.batch,
            unit_cost=landing.unit_cost(x.value or ZERO, x.quantity), expires_on=x.expires_on, serial_no=x.serial_no,
            source=source, accept_expired=x.quarantine_reason,
        )
        for x in lines
    ]  # fmt: skip
    try:
        return stock.receive_many(by=by, arrivals=coming)
    except DomainError as error:
        n = error.facts.get("item")
        if isinstance(n, int):
            error.message = f"Line {n + 1}, {lines[n].part.number}: {error.message}"
        raise


def _count(
    orders: dict[int, PurchaseOrder],
    wanted: dict[int, OrderLine],
    lines: list[ReceiptLine],
    receipt: GoodsReceipt,
    by: Person,
) -> None:
    came: dict[int, Decimal] = defaultdict(Decimal)
    for line in lines:
        if line.order_line_id is not None:
            came[line.order_line_id] += line.quantity
    for line_id, amount in sorted(came.items()):
        row = wanted[line_id]
        row.received += amount
        if row.received >= row.quantity and row.closed_at is None:
            row.closed_at = clock.now()
        row.save(update_fields=["received", "closed_at"])
    for order in orders.values():
        settle(order)
        record(by, "order.received", order, receipt=receipt.delivery_note, receipt_id=receipt.pk)


@writes
def send_back(
    *, by: Person, receipt_line_id: int, bin_id: int, quantity: Decimal, reason: str, replace: bool = True
) -> SentBack:
    """Some of what a receipt brought goes back to the supplier out of a bin. `replace`: it is awaited again on its order.

    Raises NotFound, BadInput, Refused (not posted, more than came and was not sent back, more than lies there or is kept).
    """
    row = (
        ReceiptLine.objects.select_related("receipt__supplier", "part", "order_line").filter(pk=receipt_line_id).first()
    )
    if row is None:
        raise NotFound("There is no such line.")
    if row.receipt.posted_at is None or row.lot_id is None:
        raise Refused("This receipt isn't posted yet. Take the line off, or put in what is kept.", code="not-posted")
    reason = clean_line(reason, field="reason", required=True, max_length=120)
    amount = _positive(quantity, row)
    orders = lock_orders({row.order_line.order_id} if row.order_line else set())
    GoodsReceipt.objects.select_for_update(no_key=True).get(pk=row.receipt_id)
    gone = row.sent_back.aggregate(q=Sum("quantity"))["q"] or ZERO
    if amount > row.quantity - gone:
        left = Quantity(row.quantity - gone, row.part.unit)
        raise field_error("quantity", f"Only {left} of this line can go back.", code="too-much")
    to = f"{row.receipt.supplier.name}, {row.receipt}"[:120]
    movement = stock.send_back(by=by, lot_id=row.lot_id, bin_id=bin_id, quantity=amount, reason=reason, label=to)
    back = SentBack.objects.create(
        receipt_line=row, quantity=amount, reason=reason, replace=replace, movement=movement, at=clock.now(), by=by
    )
    if row.billed.exists():  # what invoices charge otherwise falls on what is kept
        costing.revalue(row, f"Sent back: {reason}", by)
    root: GoodsReceipt | PurchaseOrder = row.receipt
    if replace and row.order_line is not None:
        root = orders[row.order_line.order_id]
        line = OrderLine.objects.get(pk=row.order_line.pk)
        line.received = max(line.received - amount, ZERO)
        if line.received < line.quantity and not line.closed_reason:
            line.closed_at = None
        line.save(update_fields=["received", "closed_at"])
        settle(root)
    record(
        by,
        "receipt.sent-back",
        back,
        root=root,
        part=row.part.number,
        quantity=plain(amount),
        reason=reason,
        replace=replace,
    )
    return back


def _positive(value: Decimal, row: ReceiptLine) -> Decimal:
    return quantity.positive(as_decimal(value, "quantity"), row.part.unit)
