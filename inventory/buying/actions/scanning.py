"""What came is counted by scanning its packages, or as all that was awaited."""

from __future__ import annotations

from decimal import Decimal

from inventory.parts import queries as catalogue
from inventory.parts.actions import fix_units
from inventory.parts.codes import part_codes
from inventory.parts.models import Part
from shop.kernel import clock, gs1
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person

from .. import queries
from ..models import GoodsReceipt, ReceiptLine
from .counting import ONE, awaited, for_part, lock_open, new_line, saved, take


@writes
def scan_receipt_line(receipt_id: int, *, by: Person, code: str, bin_id: int | None = None) -> ReceiptLine:
    """A package was scanned: GS1-128 (GTIN 01, batch 10, expiry 17, else best before 15, serial 21, count 30 or 37), a GTIN, our
    number, or the supplier's. A package's own code means all of it; our number or the piece's code one package as ordered, or
    one piece where packages have codes of their own; a code that names a count brings so many units.

    Raises NotFound, BadInput (an unreadable or unknown code, one that stands for several parts), Refused as add_receipt_line.
    """
    receipt = lock_open(receipt_id, None)
    code = clean_line(code.strip(" \r\n").replace("\x1d", "\u241d"), field="code", required=True, max_length=400)
    read = _read(code)
    part, holds = _scanned(receipt, code, read)
    expires_on = (read.expires_on or read.best_before) if read else None
    batch, serial = (read.batch or "", read.serial or "") if read else ("", "")
    amount = Decimal(read.count) if read and read.count else holds
    for line in receipt.lines.select_related("part", "order_line").filter(part=part, batch=batch, serial_no=serial):
        if line.expires_on == expires_on and not serial and line.bin_id == bin_id:
            line.receipt = receipt
            take(line, {"quantity": line.quantity + amount})
            return saved(receipt, line, by)
    line = new_line(receipt, part, for_part(receipt, part))
    take(line, {"quantity": amount, "batch": batch, "expires_on": expires_on, "serial_no": serial, "bin_id": bin_id})
    fix_units({part.pk})
    return saved(receipt, line, by)


@writes
def fill_receipt(receipt_id: int, *, by: Person) -> GoodsReceipt:
    """All that is awaited of the receipt's order came. Lines that are there already stay. Raises NotFound, Refused (posted, no
    order, nothing is awaited)."""
    receipt = lock_open(receipt_id, None)
    if receipt.order_id is None:
        raise Refused("This delivery was opened without an order. Scan or add what came.", code="no-order")
    there = set(receipt.lines.values_list("order_line_id", flat=True))
    missing = [
        x
        for x in awaited(receipt).filter(order_id=receipt.order_id).select_related("part", "order")
        if x.pk not in there
    ]
    if not missing and not there:
        raise Refused(f"Nothing of order {receipt.order} is awaited any more.", code="not-awaited")
    for wanted in missing:
        line = new_line(receipt, wanted.part, wanted)
        take(line, {"quantity": wanted.open})
        saved(receipt, line, by)
    return receipt


def _read(code: str) -> gs1.Elements | None:
    text = code.replace("\u241d", gs1.FNC1)
    if not gs1.looks_like_gs1(text):
        return None
    try:
        return gs1.parse(text, clock.today())
    except BadInput as error:
        raise field_error("code", error.message, code=error.code) from error


def _scanned(receipt: GoodsReceipt, code: str, read: gs1.Elements | None) -> tuple[Part, Decimal]:
    """The part a code stands for, and how much of it one package holds."""
    if read is not None and read.gtin is None:
        raise field_error("code", "This code names no article (GTIN). Scan the one on the package.", code="no-gtin")
    digits = read.gtin if read and read.gtin else code
    if digits.isascii() and digits.isdigit() and len(digits) in (8, 12, 13, 14):
        offers = queries.offers_with_gtin(digits.rjust(14, "0"), receipt.supplier_id)
        if len({o.part_id for o in offers}) > 1:
            named = " and ".join(sorted({str(o.part) for o in offers}))
            raise field_error("code", f"This code stands for {named}. Add it by hand.", code="several-parts")
        if offers:
            return offers[0].part, offers[0].per_package
        if pack := catalogue.package_with(digits):
            return pack.part, pack.content
    candidates, _batch = part_codes(code.replace("\u241d", gs1.FNC1), clock.today())
    part = next(filter(None, map(catalogue.by_code, candidates)), None)
    if part is None:
        theirs = queries.offers(supplier_id=receipt.supplier_id, number=code).first()
        if theirs is not None:
            return theirs.part, theirs.per_package
        raise field_error(
            "code", "No part and no offer of this supplier has this code. Add it by hand, and note the code at the offer.",
            code="unknown-code",
        )  # fmt: skip
    wanted = for_part(receipt, part)
    if wanted is None or part.packages.exclude(gtin="").exists() or (wanted.offer and wanted.offer.gtin):
        return part, ONE  # packages bear codes of their own: this one is on the piece
    return part, wanted.per_package
