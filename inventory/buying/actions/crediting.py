"""A supplier's credit note is recorded against their invoice: what went back is no longer charged, a price that was corrected
goes into the value of the lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import IntegrityError
from django.db.models import Q, Sum

from shop.business.queries import profile
from shop.kernel import clock, quantity
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.rounding import EXACT, round_money
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import packing
from ..models import GoodsReceipt, ReceiptLine, SupplierInvoice, SupplierInvoiceLine
from . import costing
from .billing import amount_of, check_days, check_total, lock_supplier, new_number

ZERO = Decimal(0)
_EFFECT = SupplierInvoiceLine.Effect


@dataclass(frozen=True, slots=True)
class Credited:
    """Of a receipt's line that the invoice charges: `quantity` (in the part's unit) went back and is credited at `price` for
    each package as ordered (None: as charged); or, where `corrects`, the price of so much that is kept is less by `price`."""

    receipt_line_id: int
    quantity: Decimal
    price: Decimal | None = None
    corrects: bool = False


@writes
def record_supplier_credit(
    bill_id: int,
    *,
    by: Person,
    number: str,
    dated_on: date,
    lines: Sequence[Credited],
    total: Decimal,
    freight: Decimal = ZERO,
    duty: Decimal = ZERO,
    tax: Decimal = ZERO,
    allowance: Decimal = ZERO,
    note: str = "",
) -> SupplierInvoice:
    """Write down a supplier's credit note over an invoice of theirs. `total` is what it states before tax: it must be what the
    lines, `freight` and `duty` add up to less `allowance` (what they keep), to the cent. Freight and duty that come back make the lines
    named cheaper, by what each cost, as far as they were counted into the goods at receipt.

    No more is credited than was charged: of a line, in quantity and in money, and of freight, duty and tax. Raises NotFound,
    BadInput (number recorded before, a line that the invoice doesn't charge, too much, a total that does not add up, dates),
    Refused (this is a credit note itself).
    """
    found = SupplierInvoice.objects.filter(pk=bill_id).values_list("supplier_id", flat=True).first()
    if found is None:
        raise NotFound("There is no such supplier's invoice.")
    supplier = lock_supplier(found)
    bill = SupplierInvoice.objects.get(pk=bill_id)
    if bill.credits_id:
        raise Refused(f"{bill.number} is a credit note itself. Name the invoice that it credits.", code="is-credit")
    number = new_number(supplier, number)
    check_days(dated_on, None)
    if not 1 <= len(lines) <= 500:
        raise field_error("lines", "Name 1 to 500 lines of the invoice that are credited.", code="no-lines")
    rows = _charged(lines, bill)
    given = {"freight": freight, "duty": duty, "tax": tax, "allowance": allowance}
    credit = SupplierInvoice(
        supplier=supplier, credits=bill, number=number, dated_on=dated_on, currency=bill.currency,
        total_net=amount_of(total, bill.currency, "total"), note=clean_line(note, field="note", max_length=200), at=clock.now(),
        by=by, **{name: amount_of(value, bill.currency, name) for name, value in given.items()},
    )  # fmt: skip
    made = [_line(n, bill, rows[x.receipt_line_id], x) for n, x in enumerate(lines, start=1)]
    check_total(credit, made)
    _check_left(credit, bill)
    before = costing.charged(rows)
    for line, share in zip(made, _spread(credit, made, bill), strict=True):
        line.difference = _difference(line, share, bill, before[line.receipt_line_id])
    try:
        credit.save(force_insert=True)
    except IntegrityError as error:
        raise field_error("number", "Somebody else recorded this credit note just now.", code="bill-twice") from error
    for line in made:
        line.invoice = credit
    SupplierInvoiceLine.objects.bulk_create(made)
    for row in rows.values():
        costing.revalue(row, f"Credit note {number} of {supplier.name}", by)
    record(
        by, "bill.credited", credit, supplier=supplier.name, number=number, credits=bill.number, net=str(credit.total_net),
        lines=len(made),
    )  # fmt: skip
    return credit


def _charged(lines: Sequence[Credited], bill: SupplierInvoice) -> dict[int, ReceiptLine]:
    """The receipt's lines that the invoice charges, their receipts locked."""
    named = [(x.receipt_line_id, x.corrects) for x in lines]
    if len(set(named)) < len(named):
        raise field_error("lines", "A line is named twice for the same reason. Add the two up.", code="twice")
    known = ReceiptLine.objects.filter(billed__invoice=bill, pk__in={pk for pk, _ in named})
    receipts = set(known.values_list("receipt_id", flat=True))
    list(GoodsReceipt.objects.select_for_update(no_key=True).filter(pk__in=receipts).order_by("pk"))
    rows = {x.pk: x for x in known.select_related("receipt", "part")}
    if missing := {pk for pk, _ in named} - set(rows):
        raise field_error("lines", f"Line {min(missing)} is not charged by {bill.number}.", code="unknown-line")
    return rows


def _line(position: int, bill: SupplierInvoice, row: ReceiptLine, given: Credited) -> SupplierInvoiceLine:
    charges = row.billed.get(invoice=bill)
    try:
        amount = quantity.positive(as_decimal(given.quantity, "lines"), row.part.unit)
        if given.price is None and given.corrects:
            raise field_error("lines", "Say by how much its price is corrected.", code="no-price")
        price = packing.price(charges.price if given.price is None else given.price)
    except BadInput as error:
        raise field_error("lines", f"{row.part.number}: {error.message}", code=error.code) from error
    before = row.billed.filter(invoice__credits=bill).aggregate(
        back=Sum("quantity", filter=Q(effect=_EFFECT.RETURNED)), net=Sum("net")
    )
    left = charges.quantity - (before["back"] or ZERO)
    if amount > left:
        raise field_error(
            "lines", f"{row.part.number}: of what {bill.number} charges only {plain(left)} is not credited yet.",
            code="more-than-charged",
        )  # fmt: skip
    net = packing.net(amount, price, row.price_per, bill.currency)
    if net > charges.net - (before["net"] or ZERO):
        raise field_error(
            "lines", f"{row.part.number}: {plain(net)} {bill.currency} is more than is left of what {bill.number} charges.",
            code="more-than-charged",
        )  # fmt: skip
    return SupplierInvoiceLine(
        position=position, receipt_line=row, quantity=amount, price=price, price_per=row.price_per, net=net,
        effect=_EFFECT.PRICE if given.corrects else _EFFECT.RETURNED,
    )  # fmt: skip


def _check_left(credit: SupplierInvoice, bill: SupplierInvoice) -> None:
    """Freight, duty, tax and the whole of an invoice are credited once."""
    names = ("freight", "duty", "tax", "total_net")
    before = bill.credit_notes.aggregate(**{name: Sum(name) for name in names})
    for name in names:
        left = getattr(bill, name) - (before[name] or ZERO)
        if getattr(credit, name) > left:
            field = "total" if name == "total_net" else name
            raise field_error(
                field, f"{bill.number} charges {plain(getattr(bill, name))} {bill.currency} there; {plain(left)} is not credited yet.",
                code="more-than-charged",
            )  # fmt: skip


def _spread(credit: SupplierInvoice, made: Sequence[SupplierInvoiceLine], bill: SupplierInvoice) -> list[Decimal]:
    """Freight and duty that come back and had been counted, less what they keep, over the lines named, by what each cost."""
    receipts = set(bill.lines.values_list("receipt_line__receipt_id", flat=True))
    extra = -costing.extras(credit, receipts) - credit.allowance
    return costing.spread(extra, [x.receipt_line.value or ZERO for x in made], credit.currency)


def _difference(line: SupplierInvoiceLine, share: Decimal, bill: SupplierInvoice, before: Decimal) -> Decimal:
    """What the kept units cost less by it (below zero), in the shop's currency: of what went back only what its price differs
    from that at receipt, and of what never came, whose price was no cost of the lot, from that at which it was charged. `before`:
    how much of the receipt's line was charged."""
    row = line.receipt_line
    less = line.net + share
    if line.effect == _EFFECT.RETURNED:
        never = min(line.quantity, max(ZERO, before - row.quantity))
        less -= packing.net(line.quantity - never, row.price, row.price_per, bill.currency)
        less -= packing.net(never, row.billed.get(invoice=bill).price, row.price_per, bill.currency)
    return -round_money(EXACT.multiply(less, row.receipt.rate), profile().currency)
