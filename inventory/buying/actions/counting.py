"""A delivery while it is counted: which note, what came of it, into which bin."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import IntegrityError
from django.db.models import F, Max
from django.utils.timezone import localdate

from inventory.parts.actions import fix_units
from inventory.parts.models import Part
from inventory.stock.models import Bin
from shop.business.queries import default_site, profile
from shop.kernel import clock, quantity
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.money import Money
from shop.kernel.rights import require
from shop.kernel.rounding import minor_unit
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import packing, queries
from ..models import GoodsReceipt, OrderLine, PurchaseOrder, ReceiptLine, Supplier

ONE = Decimal(1)
MOST_LINES = 500
LATEST = timedelta(days=366)


@writes
def open_receipt(
    *,
    by: Person,
    delivery_note: str,
    supplier_id: int | None = None,
    order_id: int | None = None,
    bin_id: int | None = None,
    **values: Any,
) -> GoodsReceipt:
    """A delivery came: of an order, or of a supplier. Values as in edit_receipt. What came goes into `bin_id` (None: the first
    shelf at the place it was ordered to) unless a line says another.

    Raises NotFound, BadInput (also a delivery note that was received before, naming the receipt), Refused (a draft).
    """
    order = _order(order_id) if order_id is not None else None
    supplier = order.supplier if order else Supplier.objects.filter(pk=supplier_id or 0).first()
    if supplier is None:
        raise field_error("supplier_id", "Name the order or the supplier.", code="no-supplier")
    currency = order.currency if order else supplier.currency
    receipt = GoodsReceipt(
        supplier=supplier, order=order, currency=currency, delivered_on=clock.today(), opened_at=clock.now(), opened_by=by,
        bin_id=bin_id or _usual_bin(order.site_id if order else default_site().pk),
    )  # fmt: skip
    clean = _checked(receipt, values | {"delivery_note": delivery_note, "bin_id": receipt.bin_id})
    for name, value in clean.items():
        setattr(receipt, name, value)
    try:
        receipt.save(force_insert=True)
    except IntegrityError as error:
        raise field_error(
            "delivery_note", "Somebody else opened this delivery note just now. Look under Receipts.", code="note-twice"
        ) from error
    record(by, "receipt.opened", receipt, supplier=supplier.name, delivery_note=receipt.delivery_note)
    return receipt


@writes
def edit_receipt(pk: int, expect: int | None, *, by: Person, **values: Any) -> GoodsReceipt:
    """Change `delivery_note`, `delivered_on`, `bin_id`, `freight` and `duty` (before tax, in the receipt's currency), `rate`
    (what one unit of that is in the shop's) or `note` of an open receipt. Raises NotFound, Stale, BadInput, Refused (posted)."""
    receipt = lock_open(pk, expect)
    clean = _checked(receipt, values)
    before = {name: getattr(receipt, name) for name in clean}
    save_next(receipt, **clean)
    record(by, "receipt.changed", receipt, changed=_plain(changes(before, clean)))
    return receipt


@writes
def discard_receipt(pk: int, expect: int | None, *, by: Person) -> None:
    """Throw an open receipt away: nothing of it was posted. Raises NotFound, Stale, Refused (posted)."""
    receipt = lock_open(pk, expect)
    record(by, "receipt.discarded", receipt, delivery_note=receipt.delivery_note, supplier=receipt.supplier.name)
    receipt.lines.all().delete()
    receipt.delete()


@writes
def add_receipt_line(
    receipt_id: int,
    expect: int | None,
    *,
    by: Person,
    quantity: Decimal,
    order_line_id: int | None = None,
    part_id: int | None = None,
    **values: Any,
) -> ReceiptLine:
    """`quantity` of an awaited order line came, or of a part: then it counts for the supplier's longest awaited order of it, and
    for none when none is awaited (a `price` for one unit is needed then).

    Further values: bin_id, batch, expires_on, serial_no, price, quarantine_reason. An expired batch is refused unless it goes
    into a quarantine bin with a reason. Raises NotFound, Stale, BadInput, Refused.
    """
    receipt = lock_open(receipt_id, expect)
    if order_line_id is not None:
        wanted = awaited(receipt).filter(pk=order_line_id).select_related("part", "order").first()
        if wanted is None:
            raise field_error(
                "order_line_id",
                "Nothing of this line is awaited from this supplier. Look at the order.",
                code="not-awaited",
            )
        part = wanted.part
    else:
        found = Part.objects.filter(pk=part_id or 0).first()
        if found is None:
            raise field_error("part_id", "There is no such part.", code="unknown-part")
        part, wanted = found, for_part(receipt, found)
    line = new_line(receipt, part, wanted)
    take(line, values | {"quantity": quantity})
    fix_units({part.pk})
    return saved(receipt, line, by)


@writes
def edit_receipt_line(line_id: int, expect: int | None, *, by: Person, **values: Any) -> ReceiptLine:
    """Change quantity, bin_id, batch, expires_on, serial_no, price or quarantine_reason of a line; `expect` is the version of
    the receipt. Raises NotFound, Stale, BadInput, Refused (posted, an expired batch)."""
    receipt, line = lock_open_line(line_id, expect)
    take(line, values)
    return saved(receipt, line, by)


@writes
def remove_receipt_line(line_id: int, expect: int | None, *, by: Person) -> GoodsReceipt:
    """It did not come after all. Raises NotFound, Stale, Refused (posted)."""
    receipt, line = lock_open_line(line_id, expect)
    record(by, "receipt.line-removed", line, root=receipt, part=line.part.number, quantity=plain(line.quantity))
    line.delete()
    save_next(receipt)
    return receipt


@writes
def accept_over(line_id: int, *, by: Person, reason: str) -> ReceiptLine:
    """Take in what a line brings beyond what was ordered, or was not ordered at all, and say why. Needs the right
    `buying.override`. Raises NotFound, BadInput, NotAllowed, Refused (posted)."""
    require(by, "buying.override")
    receipt, line = lock_open_line(line_id, None)
    line.over_reason = clean_line(reason, field="reason", required=True, max_length=200)
    line.over_by = by
    line.save(update_fields=["over_reason", "over_by"])
    save_next(receipt)
    record(by, "receipt.over-accepted", line, root=receipt, part=line.part.number, reason=line.over_reason)
    return line


def lock_open(receipt_id: int, expect: int | None) -> GoodsReceipt:
    """Raises NotFound, Stale, Refused when it was posted."""
    receipt = claim(GoodsReceipt, receipt_id, expect)
    if receipt.posted_at is not None:
        raise Refused(
            f"Receipt {receipt.number} is posted and stays as it is. Send back what is wrong, or count the bin.",
            code="posted",
        )
    return receipt


def lock_open_line(line_id: int, expect: int | None) -> tuple[GoodsReceipt, ReceiptLine]:
    receipt_id = ReceiptLine.objects.filter(pk=line_id).values_list("receipt_id", flat=True).first()
    if receipt_id is None:
        raise NotFound("There is no such line.")
    receipt = lock_open(receipt_id, expect)
    line = receipt.lines.select_related("part", "order_line").filter(pk=line_id).first()
    if line is None:  # removed while this one waited
        raise NotFound("There is no such line.")
    line.receipt = receipt
    return receipt, line


def _order(pk: int) -> PurchaseOrder:
    order = PurchaseOrder.objects.select_related("supplier").filter(pk=pk).first()
    if order is None:
        raise field_error("order_id", "There is no such order.", code="unknown-order")
    if order.sent_at is None:
        raise Refused("This order is still a draft. Send it first, by phone if it was told so.", code="not-sent")
    return order


def _usual_bin(site_id: int) -> int:
    found = Bin.objects.filter(site_id=site_id, archived_at__isnull=True, kind=Bin.Kind.SHELF).order_by("code").first()
    if found is None:
        raise field_error("bin_id", "There is no shelf there yet. Add a bin first.", code="no-bin")
    return found.pk


def _bin(pk: int) -> Bin:
    found = Bin.objects.filter(pk=pk, archived_at__isnull=True).first()
    if found is None:
        raise field_error("bin_id", "There is no such bin, or it is no longer used.", code="no-bin")
    return found


def _checked(receipt: GoodsReceipt, values: dict[str, Any]) -> dict[str, Any]:
    if unknown := set(values) - {"delivery_note", "delivered_on", "bin_id", "freight", "duty", "rate", "note"}:
        raise TypeError(f"a receipt has no {sorted(unknown)}")
    clean = dict(values)
    if "delivery_note" in clean:
        clean["delivery_note"] = clean_line(clean["delivery_note"], field="delivery_note", required=True, max_length=60)
        _refuse_twice(receipt, clean["delivery_note"])
    if "note" in clean:
        clean["note"] = clean_line(clean["note"] or "", field="note", max_length=200)
    if clean.get("delivered_on") is None:
        clean.pop("delivered_on", None)
    elif not clock.today() - LATEST <= clean["delivered_on"] <= clock.today():
        raise field_error("delivered_on", "Give the day it came, within the last year.", code="bad-day")
    if "bin_id" in clean:
        _bin(clean["bin_id"])
    for name in ("freight", "duty"):
        if name in clean:
            clean[name] = _amount(clean[name], receipt.currency, name)
    own = profile().currency
    if clean.get("rate") is None:
        clean.pop("rate", None)
    elif not (clean["rate"].is_finite() and 0 < clean["rate"] < 10**6 and round(clean["rate"], 8) == clean["rate"]):
        raise field_error("rate", "Give a rate above zero with at most 8 decimals.", code="bad-rate")
    elif receipt.currency == own and clean["rate"] != 1:
        raise field_error("rate", f"{own} is the shop's own currency: its rate is 1.", code="bad-rate")
    return clean


def _amount(value: Decimal | None, currency: str, field: str) -> Decimal:
    amount = as_decimal(value or Decimal(0), field)
    if amount < 0 or amount >= packing.PRICE_LIMIT or not Money(amount, currency).is_payable:
        raise field_error(
            field, f"Give an amount of zero or more, in steps of {minor_unit(currency)} {currency}.", code="bad-amount"
        )
    return amount


def _refuse_twice(receipt: GoodsReceipt, note: str) -> None:
    others = GoodsReceipt.objects.filter(supplier=receipt.supplier, delivery_note__iexact=note).exclude(pk=receipt.pk)
    other = others.select_related("posted_by", "opened_by").first()
    if other is None:
        return
    if other.posted_at is not None:
        said = f"was received on {other.delivered_on:%Y-%m-%d} as {other.number} by {other.posted_by}"
    else:
        said = f"is being counted by {other.opened_by} since {localdate(other.opened_at)}"
    raise BadInput(
        f"Delivery note {note} of {receipt.supplier.name} {said}. Look there before anything is taken in twice.",
        code="note-twice", fields={"delivery_note": [f"It {said}."]}, receipt_id=other.pk,
    )  # fmt: skip


def awaited(receipt: GoodsReceipt) -> Any:
    """Lines of this supplier in this currency that are still awaited, those of the receipt's order first, then the longest
    awaited."""
    rows = queries.order_lines(supplier_id=receipt.supplier_id, awaited=True).filter(order__currency=receipt.currency)
    return rows.order_by(F("due_on").asc(nulls_last=True), "pk")


def for_part(receipt: GoodsReceipt, part: Part) -> OrderLine | None:
    rows = list(awaited(receipt).filter(part=part))
    return min(rows, key=lambda x: x.order_id != receipt.order_id, default=None)


def new_line(receipt: GoodsReceipt, part: Part, wanted: OrderLine | None) -> ReceiptLine:
    if receipt.lines.count() >= MOST_LINES:
        raise Refused(f"A receipt has at most {MOST_LINES} lines. Post it and open another.", code="too-many-lines")
    last = receipt.lines.aggregate(last=Max("position"))["last"] or 0
    line = ReceiptLine(receipt=receipt, position=last + 1, part=part, order_line=wanted)
    if wanted is not None and wanted.price is not None:
        line.price, line.price_per = wanted.price, wanted.per_package
    return line


def take(line: ReceiptLine, values: dict[str, Any]) -> None:
    """Put checked values onto a line."""
    if unknown := set(values) - {
        "quantity", "bin_id", "batch", "expires_on", "serial_no", "price", "quarantine_reason",
    }:  # fmt: skip
        raise TypeError(f"a receipt's line has no {sorted(unknown)}")
    if "quantity" in values:
        line.quantity = quantity.positive(as_decimal(values["quantity"], "quantity"), line.part.unit)
    if "bin_id" in values:
        line.bin = None if values["bin_id"] is None else _bin(values["bin_id"])
    for name, longest in (("batch", 40), ("serial_no", 60), ("quarantine_reason", 200)):
        if name in values:
            setattr(line, name, clean_line(values[name] or "", field=name, max_length=longest))
    if "expires_on" in values:
        line.expires_on = values["expires_on"]
    if values.get("price") is not None:
        line.price = packing.price(values["price"])
        line.price_per = line.order_line.per_package if line.order_line else ONE
    if line.price is None:
        raise field_error(
            "price", "It is on no order: say what one unit costs; 0 for what is free.", code="price-missing"
        )
    if line.serial_no and line.quantity != 1:
        raise field_error("serial_no", "A serial number is for exactly one piece. Add them one by one.", code="serial")
    if line.price * line.quantity / line.price_per >= packing.PRICE_LIMIT:
        raise field_error("price", "Price times quantity is too large to be right.", code="too-large")
    _refuse_expired(line)


def _refuse_expired(line: ReceiptLine) -> None:
    if line.expires_on is None or line.expires_on >= clock.today():
        return
    where = line.bin or line.receipt.bin
    if not (line.quarantine_reason and where.is_quarantine):
        raise Refused(
            f"This batch of {line.part.number} expired on {line.expires_on:%Y-%m-%d}. Send it back; or put it into a quarantine "
            "bin and say why, then an owner posts the receipt.",
            code="expired",
        )


def saved(receipt: GoodsReceipt, line: ReceiptLine, by: Person) -> ReceiptLine:
    new = line.pk is None
    line.save()
    save_next(receipt)
    record(
        by, "receipt.line-added" if new else "receipt.line-changed", line, root=receipt, part=line.part.number,
        quantity=plain(line.quantity), batch=line.batch,
    )  # fmt: skip
    return line


def _plain(found: dict[str, list[Any]]) -> dict[str, list[Any]]:
    def text(value: Any) -> Any:
        return plain(value) if isinstance(value, Decimal) else str(value) if isinstance(value, date) else value

    return {name: [text(a), text(b)] for name, (a, b) in found.items()}
