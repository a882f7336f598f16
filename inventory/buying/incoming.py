"""Reads of electronic invoices that came: what was understood of one, and what was not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Q, QuerySet
from django.db.models.functions import Lower
from django.utils.timezone import localdate

from inventory.parts.models import Barcode, Part
from shop.business.queries import profile
from shop.documents.models import Attachment
from shop.kernel.errors import NotFound
from shop.kernel.folding import key
from shop.kernel.identity import clean_vat

from . import einvoice, einvoice_xml, queries, recognising
from .einvoice import EInvoice, Finding, Party, Stated
from .models import IncomingInvoice, Offer, PurchaseOrder, ReceiptLine, Supplier, SupplierInvoice
from .recognising import RETURNED, Assigned, Creditable, Open

CANDIDATES = 500
"""Receipt's lines that are offered to be charged; the oldest first."""
STATES = ("open", "taken", "aside")


@dataclass
class Recognised:
    """A line, the part it means and by what that was told, and what it seems to be for."""

    stated: Stated
    part: Part | None = None
    told_by: str = ""
    proposed: list[Assigned] = field(default_factory=list)


@dataclass
class Look:
    """An incoming invoice as a person looks at it before it is recorded. `findings` that stop keep it from being taken."""

    incoming: IncomingInvoice
    stated: EInvoice
    findings: list[Finding]
    order: PurchaseOrder | None
    lines: list[Recognised]
    candidates: list[ReceiptLine]
    creditable: dict[int, Creditable] = field(default_factory=dict)  # of a credit note, by receipt's line

    @property
    def pk(self) -> int:
        return self.incoming.pk

    @property
    def stops(self) -> list[Finding]:
        return [x for x in self.findings if x.stops]

    @property
    def proposed(self) -> list[Assigned]:
        return [a for x in self.lines for a in x.proposed]


def waiting(*, state: str = "open", supplier_id: int | None = None) -> QuerySet[IncomingInvoice]:
    """Electronic invoices that came: still to be recorded, recorded (taken), or set aside."""
    found = IncomingInvoice.objects.select_related("supplier", "by")
    if supplier_id is not None:
        found = found.filter(supplier_id=supplier_id)
    if state == "taken":
        return found.filter(bill__isnull=False)
    if state == "aside":
        return found.filter(bill__isnull=True, set_aside_at__isnull=False)
    return found.filter(bill__isnull=True, set_aside_at__isnull=True)


def there(pk: int) -> bool:
    return IncomingInvoice.objects.filter(pk=pk).exists()


def file_of(incoming: IncomingInvoice) -> Attachment:
    found = Attachment.objects.filter(subject="incominginvoice", subject_id=incoming.pk, sha256=incoming.sha256)
    row = found.order_by("pk").first()
    if row is None:
        raise NotFound("The file of this invoice is missing. Restore it from the backup.")
    return row


def content_of(incoming: IncomingInvoice) -> bytes:
    kept = file_of(incoming)
    try:
        with kept.file.open("rb") as handle:
            return bytes(handle.read())
    except FileNotFoundError as error:
        raise NotFound("The file of this invoice is missing in the store. Restore it from the backup.") from error


def find_supplier(seller: Party) -> Supplier | None:
    """Who sent it: by VAT number, else by name, when that means one supplier in use."""
    rows = Supplier.objects.filter(archived_at__isnull=True)
    if number := clean_vat(seller.vat_no):
        its = list(rows.filter(vat_no=number)[:2])
        if len(its) == 1:
            return its[0]
    names = {key(n) for n in (seller.name, seller.trading_name) if n}
    exact = list(rows.filter(Q(name__iexact=seller.name) | Q(name__iexact=seller.trading_name))[:2]) if names else []
    named = exact or [s for s in rows.order_by("pk")[:2000] if key(s.name) in names]
    fits = [s for s in named if not (s.vat_no and number and s.vat_no != number)]
    return fits[0] if len(fits) == 1 else None


def look(pk: int) -> Look | None:
    """One incoming invoice with its file read again, in a constant number of queries; None when there is none."""
    row = IncomingInvoice.objects.select_related("supplier", "by", "bill").filter(pk=pk).first()
    return look_at(row) if row else None


def look_at(row: IncomingInvoice) -> Look:
    stated = einvoice_xml.read(content_of(row))
    kind = einvoice.cannot_be_taken(stated)
    findings = ([kind] if kind else []) + einvoice.sums(stated)
    lines = [Recognised(x) for x in stated.lines]
    supplier = row.supplier
    if supplier is None:
        who = " ".join(x for x in (stated.seller.name, stated.seller.vat_no) if x) or "somebody unnamed"
        findings.append(Finding("supplier", f"No supplier of yours is {who}. Say who it is, or add them."))
        return Look(row, stated, findings, None, lines, [])
    order = None
    if stated.order:
        order = PurchaseOrder.objects.filter(supplier=supplier, number__iexact=stated.order).first()
        if order is None:
            findings.append(Finding("order", f"You have no order {stated.order} with {supplier.name}.", stops=False))
    findings += _before(row, stated, supplier)
    held: dict[int, Creditable] = {}
    if stated.is_credit:
        candidates, held = _credited(row, supplier, stated, findings)
    else:
        candidates = _candidates(supplier, stated, order, findings)
    _recognise(lines, supplier, candidates)
    if stated.is_credit:
        proposed = recognising.with_effects(stated, [a for x in lines for a in x.proposed], held)
        for x in lines:
            x.proposed = [a for a in proposed if a.position == x.stated.position]
        findings += _not_kept(proposed, candidates, held)
    return Look(row, stated, findings, order, lines, candidates, held)


def _before(row: IncomingInvoice, stated: EInvoice, supplier: Supplier) -> list[Finding]:
    found = []
    if row.bill_id is None:
        if wrong := einvoice.wrong_day(stated):
            found.append(Finding("dated-on", wrong))
        other = (
            SupplierInvoice.objects.filter(supplier=supplier, number__iexact=stated.number).select_related("by").first()
        )
        if other:
            text = f"Invoice {stated.number} of {supplier.name} was recorded on {localdate(other.at)} by {other.by}."
            found.append(Finding("bill-twice", text))
    number = clean_vat(stated.seller.vat_no)
    if number and supplier.vat_no and number != supplier.vat_no:
        text = f"It states the VAT number {number}, {supplier.name} has {supplier.vat_no}. Ask them before you pay."
        found.append(Finding("vat-no", text))
    ours, theirs = clean_vat(profile().vat_no), clean_vat(stated.buyer.vat_no)
    if ours and theirs and ours != theirs:
        found.append(Finding("buyer", f"It is made out to {theirs}, your VAT number is {ours}.", stops=False))
    if stated.due_on and not einvoice.due_day(stated):
        found.append(
            Finding("due", f"It is due on {stated.due_on}, which can't be right; it is left out.", stops=False)
        )
    return found


def _candidates(
    supplier: Supplier, stated: EInvoice, order: PurchaseOrder | None, findings: list[Finding]
) -> list[ReceiptLine]:
    rows, more = queries.not_billed(supplier.pk, CANDIDATES)
    if more:
        text = f"More of {supplier.name} waits for an invoice than the {CANDIDATES} oldest lines that are offered here."
        findings.append(Finding("more-waits", text, stops=False))
    same = [r for r in rows if r.receipt.currency == stated.currency]
    if (rows and not same) or (not rows and stated.currency != supplier.currency):
        theirs = rows[0].receipt.currency if rows else supplier.currency
        findings.append(
            Finding(
                "currency", f"It is in {stated.currency}, you buy of {supplier.name} in {theirs}. Ask for one in {theirs}."
            )
        )  # fmt: skip
    elif not rows:
        findings.append(
            Finding("nothing-came", f"Nothing that came from {supplier.name} waits for an invoice.", stops=False)
        )
    return sorted(same, key=lambda r: not (order and r.order_line and r.order_line.order_id == order.pk))


def credited_bill(supplier: Supplier, stated: EInvoice) -> SupplierInvoice | None:
    """The invoice that a credit note names (BT-25)."""
    if not stated.credits:
        return None
    found = SupplierInvoice.objects.filter(supplier=supplier, credits__isnull=True)
    return found.filter(number__iexact=stated.credits).first()


def _credited(
    row: IncomingInvoice, supplier: Supplier, stated: EInvoice, findings: list[Finding]
) -> tuple[list[ReceiptLine], dict[int, Creditable]]:
    """What the invoice that it credits charges, as far as it is not credited yet, at the price it charges; and what of it is
    not kept."""
    bill = credited_bill(supplier, stated)
    if bill is None:
        if row.bill_id is None:
            findings.append(einvoice.credits_nothing_known(stated))
        return [], {}
    if bill.currency != stated.currency:
        findings.append(Finding("currency", f"It is in {stated.currency}, {bill.number} was in {bill.currency}."))
        return [], {}
    rows, held = [], {}
    lines = bill.lines.select_related("receipt_line__receipt", "receipt_line__part", "receipt_line__order_line__order")
    for line in lines.prefetch_related("receipt_line__billed__invoice", "receipt_line__sent_back"):
        found, zero = line.receipt_line, Decimal(0)
        said = [b for b in found.billed.all() if b.invoice_id != row.bill_id]
        charged = sum((b.quantity for b in said if b.effect == "charged"), zero)
        credited = [b for b in said if b.effect == RETURNED]
        gone = sum((x.quantity for x in found.sent_back.all()), zero) + max(zero, charged - found.quantity)
        not_kept = max(zero, gone - sum((b.quantity for b in credited), zero))
        before = sum((b.quantity for b in credited if b.invoice.credits_id == bill.pk), zero)
        found.quantity, found.price = line.quantity - before, line.price
        if found.quantity > 0:
            rows.append(found)
            held[found.pk] = Creditable(not_kept, line.price, line.price_per)
    return rows, held


def _not_kept(proposed: Sequence[Assigned], rows: Sequence[ReceiptLine], held: dict[int, Creditable]) -> list[Finding]:
    """What a credit note credits without that it went back or never came: what it is taken for, and what to do if that is wrong."""
    parts = {r.pk: r.part.number for r in rows}
    rest = {key: x.not_kept for key, x in held.items()}
    found = []
    for a in proposed:
        key, amount = a.receipt_line_id, a.quantity or Decimal(0)
        if key not in held:
            continue
        if a.effect != RETURNED:
            text = (
                f"Less of {parts[key]} went back than line {a.position} credits, so it counts as a price that was corrected. "
                "If it did go back, record that on its receipt first; if it is charged no more, say so at the line."
            )
            found.append(Finding("price-corrected", text, stops=False))
            continue
        if amount > rest[key]:
            text = (
                f"Less of {parts[key]} went back than line {a.position} credits, at the price that was charged: it counts as no "
                "longer charged, so what was kept of it waits for another invoice. If they take that off the price, say so at the line."
            )
            found.append(Finding("not-charged", text, stops=False))
        rest[key] -= amount
    return found


def _recognise(lines: list[Recognised], supplier: Supplier, rows: Sequence[ReceiptLine]) -> None:
    offers, parts, by_gtin = _known(supplier, [x.stated for x in lines])
    for x in lines:
        s = x.stated
        for found, by in (
            (offers.get(s.seller_no.lower()), "their number"),
            (parts.get(s.buyer_no.lower()), "our number"),
            (by_gtin.get(s.gtin.zfill(14)) if s.gtin else None, "GTIN"),
        ):
            if found is not None:
                x.part, x.told_by = found, by
                break
    held: dict[int, set[Decimal]] = {}
    for part_id, per in Offer.objects.filter(
        supplier=supplier, part_id__in={r.part_id for r in rows}, archived_at__isnull=True
    ).values_list("part_id", "per_package"):
        held.setdefault(part_id, set()).add(per)
    left = [
        Open(
            r.pk, r.part_id, r.quantity, r.part.unit, r.price, r.price_per,
            tuple(sorted({r.price_per, *held.get(r.part_id, ())} - {Decimal(1)})),
        )
        for r in rows
    ]  # fmt: skip
    proposed = recognising.propose(
        [x.stated for x in lines], {x.stated.position: x.part.pk for x in lines if x.part}, left
    )
    for x in lines:
        x.proposed = [a for a in proposed if a.position == x.stated.position]


def _known(supplier: Supplier, lines: Sequence[Stated]) -> tuple[dict[str, Part], dict[str, Part], dict[str, Part]]:
    """Parts by the supplier's number, by ours, and by GTIN of 14 digits."""
    theirs = {x.seller_no.lower() for x in lines if x.seller_no}
    ours = {x.buyer_no.lower() for x in lines if x.buyer_no}
    gtins = {x.gtin.zfill(14) for x in lines if x.gtin}
    sold = Offer.objects.filter(archived_at__isnull=True).select_related("part")
    numbered = sold.filter(supplier=supplier).annotate(low=Lower("number")).filter(low__in=theirs)
    own = Part.objects.annotate(low=Lower("number")).filter(low__in=ours)
    coded = {b.key: b.part for b in Barcode.objects.filter(key__in=gtins, is_gtin=True).select_related("part")}
    coded |= {o.gtin: o.part for o in sold.filter(gtin__in=gtins).order_by("pk")}
    return {o.number.lower(): o.part for o in numbered}, {p.number.lower(): p for p in own}, coded
