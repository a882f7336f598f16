"""A supplier's invoice is recorded against what came; another price goes into the value of the lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import IntegrityError
from django.utils.timezone import localdate

from shop.business.queries import profile
from shop.kernel import clock, quantity
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import BadInput, field_error
from shop.kernel.money import Money
from shop.kernel.rounding import EXACT, minor_unit, round_money
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import days, packing
from ..charged import refuse_recorded
from ..models import GoodsReceipt, ReceiptLine, SentBack, Supplier, SupplierInvoice, SupplierInvoiceLine
from . import costing

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Billed:
    """`quantity` of a receipt's line (in the part's unit) is charged at `price` for each package as it was ordered (without a
    package, each unit). None: all of it, at the receipt's price."""

    receipt_line_id: int
    quantity: Decimal | None = None
    price: Decimal | None = None


@writes
def record_supplier_invoice(
    *,
    by: Person,
    supplier_id: int,
    number: str,
    dated_on: date,
    lines: Sequence[Billed],
    total: Decimal,
    freight: Decimal = ZERO,
    duty: Decimal = ZERO,
    tax: Decimal = ZERO,
    allowance: Decimal = ZERO,
    due_on: date | None = None,
    note: str = "",
) -> SupplierInvoice:
    """Write down a supplier's invoice over what was received. `total` is what it states before tax: it must be what the lines,
    `freight` and `duty` add up to less `allowance`, what is taken off the whole of it, to the cent.

    Where a line is charged at another price than it was received at, the difference is posted on its lot under the invoice's
    number; nothing posted before changes. So is freight and duty that were counted at receipt and that a credit note took out
    before; what is charged beyond what was counted isn't. Quantities may differ from what came: the three-way look says both.

    Raises BadInput (a number that was recorded before, a line of another supplier or currency or one that isn't posted, a total
    that does not add up, dates), Refused.
    """
    supplier = lock_supplier(supplier_id)
    number = new_number(supplier, number)
    check_days(dated_on, due_on)
    if not 1 <= len(lines) <= 500:
        raise field_error("lines", "Name 1 to 500 lines of what was received.", code="no-lines")
    rows = _held(lines, supplier)
    currency = next(iter(rows.values())).receipt.currency
    bill = SupplierInvoice(
        supplier=supplier, number=number, dated_on=dated_on, due_on=due_on, currency=currency,
        freight=amount_of(freight, currency, "freight"), duty=amount_of(duty, currency, "duty"),
        tax=amount_of(tax, currency, "tax"), allowance=amount_of(allowance, currency, "allowance"), total_net=amount_of(total, currency, "total"),
        note=clean_line(note, field="note", max_length=200), at=clock.now(), by=by,
    )  # fmt: skip
    found = [_line(n, rows[x.receipt_line_id], x) for n, x in enumerate(lines, start=1)]
    check_total(bill, found)
    try:
        bill.save(force_insert=True)
    except IntegrityError as error:
        raise field_error("number", "Somebody else recorded this invoice just now.", code="bill-twice") from error
    more = costing.extras(bill, {x.receipt_id for x in rows.values()}) - bill.allowance
    before, own = costing.charged(rows), profile().currency
    for line, share in zip(found, costing.spread(more, [x.net for x in found], currency), strict=True):
        line.invoice = bill
        line.difference = _difference(line, share, before[line.receipt_line_id], own)
    SupplierInvoiceLine.objects.bulk_create(found)
    back = set(SentBack.objects.filter(receipt_line__in=rows).values_list("receipt_line_id", flat=True))
    for line in found:
        if line.difference or line.receipt_line_id in back:
            costing.revalue(line.receipt_line, f"Invoice {number} of {supplier.name}", by)
    record(by, "bill.recorded", bill, supplier=supplier.name, number=number, net=str(bill.total_net), lines=len(found))
    return bill


def lock_supplier(supplier_id: int) -> Supplier:
    """Two documents of one supplier go one after the other."""
    supplier = Supplier.objects.select_for_update(no_key=True).filter(pk=supplier_id).first()
    if supplier is None:
        raise field_error("supplier_id", "There is no such supplier.", code="unknown-supplier")
    return supplier


def new_number(supplier: Supplier, number: str) -> str:
    """Raises BadInput when their invoice or credit note of this number was recorded before."""
    number = clean_line(number, field="number", required=True, max_length=60)
    if other := SupplierInvoice.objects.filter(supplier=supplier, number__iexact=number).select_related("by").first():
        what = "Credit note" if other.credits_id else "Invoice"
        raise field_error(
            "number",
            f"{what} {number} of {supplier.name} was recorded on {localdate(other.at)} by {other.by}.",
            code="bill-twice",
        )
    refuse_recorded(supplier, number)
    return number


def _held(lines: Sequence[Billed], supplier: Supplier) -> dict[int, ReceiptLine]:
    """The receipt's lines by key, their receipts locked, so that two invoices over one lot go one after the other."""
    ids = [x.receipt_line_id for x in lines]
    if len(set(ids)) < len(ids):
        raise field_error("lines", "A line of a receipt is named twice. Add the two up.", code="twice")
    known = ReceiptLine.objects.filter(pk__in=ids, receipt__supplier=supplier, receipt__posted_at__isnull=False)
    receipts = set(known.values_list("receipt_id", flat=True))
    list(GoodsReceipt.objects.select_for_update(no_key=True).filter(pk__in=receipts).order_by("pk"))
    rows = {x.pk: x for x in known.select_related("receipt", "part", "lot", "order_line")}
    if missing := set(ids) - set(rows):
        raise field_error(
            "lines",
            f"Line {min(missing)} was not received from {supplier.name}, or its receipt isn't posted.",
            code="unknown-line",
        )
    if len({x.receipt.currency for x in rows.values()}) > 1:
        raise field_error(
            "lines", "These receipts are in different currencies. Record an invoice for each.", code="mixed"
        )
    return rows


def _line(position: int, row: ReceiptLine, given: Billed) -> SupplierInvoiceLine:
    amount = row.quantity if given.quantity is None else as_decimal(given.quantity, "lines")
    price = row.price if given.price is None else given.price
    try:
        amount = quantity.positive(amount, row.part.unit)
        price = packing.price(price)
    except BadInput as error:
        raise field_error("lines", f"{row.part.number}: {error.message}", code=error.code) from error
    net = packing.net(amount, price, row.price_per, row.receipt.currency)
    return SupplierInvoiceLine(
        position=position, receipt_line=row, quantity=amount, price=price, price_per=row.price_per, net=net
    )


def check_total(bill: SupplierInvoice, lines: list[SupplierInvoiceLine]) -> None:
    adds_up = sum((x.net for x in lines), ZERO) + bill.freight + bill.duty - bill.allowance
    if adds_up != bill.total_net:
        less = " less what is taken off" if bill.allowance else ""
        says = "credit note" if bill.credits_id else "invoice"
        raise field_error(
            "total", f"Lines, freight and duty{less} add up to {adds_up} {bill.currency}, the {says} says {bill.total_net}. Compare "
            "quantities and prices with it line by line.", code="not-the-sum",
        )  # fmt: skip


def _difference(line: SupplierInvoiceLine, share: Decimal, before: Decimal, own: str) -> Decimal:
    """What the charged quantity costs more than it was received at, in `own`, the shop's currency. `share`: its own of freight that is
    charged anew, less what is taken off the whole; `before`: how much of the receipt's line was charged already."""
    row = line.receipt_line
    # what was never received is theirs to take back, no cost of the lot
    charged = min(line.quantity, max(ZERO, row.quantity - before))
    dearer = packing.net(charged, line.price, row.price_per, row.receipt.currency) - packing.net(
        charged, row.price, row.price_per, row.receipt.currency
    )
    return round_money(EXACT.multiply(dearer + share, row.receipt.rate), own)


def amount_of(value: Decimal, currency: str, field: str) -> Decimal:
    amount = as_decimal(value, field)
    if amount < 0 or amount >= packing.PRICE_LIMIT or not Money(amount, currency).is_payable:
        raise field_error(
            field, f"Give an amount of zero or more, in steps of {minor_unit(currency)} {currency}.", code="bad-amount"
        )
    return amount


def check_days(dated_on: date, due_on: date | None) -> None:
    if not days.can_be_dated(dated_on):
        raise field_error("dated_on", "Give the day that stands on the invoice.", code="bad-day")
    if due_on is not None and not days.can_be_due(due_on, dated_on):
        raise field_error("due_on", "It is due on the day of the invoice or within a year of it.", code="bad-day")
