"""Reads of the buying room."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from django.db import models
from django.db.models import Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from shop.kernel import clock
from shop.trail.models import TrailRow
from shop.trail.record import kind_of

from .leadtime import LeadTime, observed
from .matching import Side, differences
from .matching import extras as matched
from .models import (
    GoodsReceipt,
    Offer,
    OrderLine,
    PurchaseOrder,
    ReceiptLine,
    SentBack,
    Supplier,
    SupplierInvoice,
    SupplierInvoiceLine,
)
from .models.orders import OPEN_LINES

_FOUND_BY = ("name", "city", "email", "phone", "account_no")
STATES = ("draft", "open", "overdue", "closed")


def suppliers(*, name: str = "", text: str = "", archived: bool = False) -> QuerySet[Supplier]:
    """Suppliers whose name contains `name` and that hold every word of `text` in name, town, e-mail, phone or our
    account number; archived ones only when asked for."""
    found = Supplier.objects.filter(archived_at__isnull=not archived)
    if name:
        found = found.filter(name__icontains=name)
    for word in text.split()[:8]:
        anywhere = Q()
        for field in _FOUND_BY:
            anywhere |= Q(**{f"{field}__icontains": word})
        found = found.filter(anywhere)
    return found


def supplier(pk: int) -> Supplier | None:
    return Supplier.objects.filter(pk=pk).first()


# --- offers -----------------------------------------------------------------------------------------


def offers(
    *, part_id: int | None = None, supplier_id: int | None = None, number: str = "", archived: bool = False
) -> QuerySet[Offer]:
    """How parts are sold, with part, supplier and price breaks; archived ones only when asked for."""
    found = Offer.objects.filter(archived_at__isnull=not archived)
    if part_id is not None:
        found = found.filter(part_id=part_id)
    if supplier_id is not None:
        found = found.filter(supplier_id=supplier_id)
    if number:
        found = found.filter(number__iexact=number.strip())
    return found.select_related("part", "supplier").prefetch_related("prices")


def offer(pk: int) -> Offer | None:
    return Offer.objects.select_related("part", "supplier").prefetch_related("prices").filter(pk=pk).first()


def usual_offers(part_ids: Collection[int] | None = None) -> dict[int, Offer]:
    """Of each of these parts, or of all, the offer it is ordered by when nobody says otherwise: the preferred one, else the
    oldest, of those in use; with supplier and prices."""
    rows = Offer.objects.filter(archived_at__isnull=True, supplier__archived_at__isnull=True)
    if part_ids is not None:
        rows = rows.filter(part_id__in=part_ids)
    found: dict[int, Offer] = {}
    for offer in rows.select_related("supplier").prefetch_related("prices").order_by("part_id", "-preferred", "id"):
        found.setdefault(offer.part_id, offer)
    return found


def offers_with_gtin(gtin: str, supplier_id: int | None = None) -> list[Offer]:
    """Offers in use of the package that a GTIN of 14 digits stands for, those of the supplier first."""
    found = list(Offer.objects.filter(gtin=gtin, archived_at__isnull=True).select_related("part").order_by("pk"))
    return sorted(found, key=lambda o: o.supplier_id != supplier_id)


# --- orders -----------------------------------------------------------------------------------------


def orders(*, state: str = "", supplier_id: int | None = None, number: str = "") -> QuerySet[PurchaseOrder]:
    """Orders with supplier and lines; `state` is draft, open (sent, something awaited), overdue or closed."""
    found = PurchaseOrder.objects.all()
    if supplier_id is not None:
        found = found.filter(supplier_id=supplier_id)
    if number:
        found = found.filter(number__icontains=number.strip())
    if state == "draft":
        found = found.filter(sent_at__isnull=True)
    elif state in ("open", "overdue"):
        found = found.filter(sent_at__isnull=False, closed_at__isnull=True)
    elif state == "closed":
        found = found.filter(closed_at__isnull=False)
    if state == "overdue":
        late = OrderLine.objects.filter(order=OuterRef("pk"), closed_at__isnull=True, due_on__lt=clock.today())
        found = found.filter(Exists(late))
    lines = Prefetch("lines", OrderLine.objects.select_related("part"))
    return found.select_related("supplier").prefetch_related(lines)


def order(pk: int) -> PurchaseOrder | None:
    rows = PurchaseOrder.objects.select_related("supplier", "site", "created_by", "sent_by")
    lines = Prefetch("lines", OrderLine.objects.select_related("part", "offer"))
    return rows.prefetch_related(lines).filter(pk=pk).first()


def order_lines(
    *,
    order_id: int | None = None,
    part_id: int | None = None,
    supplier_id: int | None = None,
    label: str = "",
    awaited: bool | None = None,
    overdue: bool = False,
) -> QuerySet[OrderLine]:
    """Lines with order, supplier and part. `awaited`: on orders that were sent, something still to come."""
    found = OrderLine.objects.select_related("order__supplier", "part")
    if order_id is not None:
        found = found.filter(order_id=order_id)
    if part_id is not None:
        found = found.filter(part_id=part_id)
    if supplier_id is not None:
        found = found.filter(order__supplier_id=supplier_id)
    if label:
        found = found.filter(label=label)
    if awaited or overdue:
        found = found.filter(OPEN_LINES)
    elif awaited is False:
        found = found.exclude(OPEN_LINES)
    return found.filter(due_on__lt=clock.today()) if overdue else found


def order_line(pk: int) -> OrderLine | None:
    return OrderLine.objects.select_related("order__supplier", "part", "offer").filter(pk=pk).first()


def awaited_lines(*, supplier_id: int | None = None, overdue: bool = False) -> QuerySet[OrderLine]:
    """What is still to come, the longest awaited first, lines without a day last."""
    rows = order_lines(supplier_id=supplier_id, awaited=True, overdue=overdue)
    return rows.order_by(F("due_on").asc(nulls_last=True), "id")


class Coming(NamedTuple):
    """Some of a part that is on its way, in its unit."""

    part_id: int
    site_id: int
    line_id: int
    order_id: int
    order: str
    supplier: str
    quantity: Decimal
    due_on: date | None
    label: str


def coming(part_ids: Collection[int] | None = None) -> Iterable[Coming]:
    """What is awaited of these parts, or of all, in one query, the soonest first."""
    rows = OrderLine.objects.filter(OPEN_LINES).select_related("order__supplier")
    if part_ids is not None:
        rows = rows.filter(part_id__in=part_ids)
    for x in rows.order_by(F("due_on").asc(nulls_last=True), "id"):
        order = x.order
        yield Coming(
            x.part_id, order.site_id, x.pk, order.pk, order.number, order.supplier.name, x.open, x.due_on, x.label
        )  # fmt: skip


# --- receipts ---------------------------------------------------------------------------------------


def receipts(
    *,
    supplier_id: int | None = None,
    order_id: int | None = None,
    delivery_note: str = "",
    posted: bool | None = None,
) -> QuerySet[GoodsReceipt]:
    """Deliveries with supplier and lines; `order_id`: of which something counted for that order."""
    found = GoodsReceipt.objects.all()
    if supplier_id is not None:
        found = found.filter(supplier_id=supplier_id)
    if order_id is not None:
        its = ReceiptLine.objects.filter(receipt=OuterRef("pk"), order_line__order_id=order_id)
        found = found.filter(Q(order_id=order_id) | Exists(its))
    if delivery_note:
        found = found.filter(delivery_note__iexact=delivery_note.strip())
    if posted is not None:
        found = found.filter(posted_at__isnull=not posted)
    lines = Prefetch("lines", ReceiptLine.objects.select_related("part", "bin", "lot", "order_line__order"))
    return found.select_related("supplier", "order", "bin").prefetch_related(lines)


def receipt(pk: int) -> GoodsReceipt | None:
    return receipts().select_related("opened_by", "posted_by").filter(pk=pk).first()


def receipt_lines(
    *, receipt_id: int | None = None, order_line_id: int | None = None, part_id: int | None = None
) -> QuerySet[ReceiptLine]:
    found = ReceiptLine.objects.select_related("receipt", "part", "lot", "over_by").prefetch_related("sent_back")
    if receipt_id is not None:
        found = found.filter(receipt_id=receipt_id)
    if order_line_id is not None:
        found = found.filter(order_line_id=order_line_id)
    return found.filter(part_id=part_id) if part_id is not None else found


def receipt_line(pk: int) -> ReceiptLine | None:
    rows = ReceiptLine.objects.select_related(
        "receipt__supplier", "receipt__bin", "part", "lot", "order_line__order", "bin"
    )
    return rows.prefetch_related("sent_back").filter(pk=pk).first()


def lead_times(
    *, part_ids: Collection[int] | None = None, supplier_id: int | None = None
) -> dict[tuple[int, int], LeadTime]:
    """How long deliveries really took, by supplier and part, from sending the order to the goods; in one query."""
    rows = ReceiptLine.objects.filter(receipt__posted_at__isnull=False, order_line__isnull=False)
    if part_ids is not None:
        rows = rows.filter(part_id__in=part_ids)
    if supplier_id is not None:
        rows = rows.filter(receipt__supplier_id=supplier_id)
    days: dict[tuple[int, int], list[int]] = {}
    seen: set[tuple[int, int]] = set()
    names = ("receipt__supplier_id", "part_id", "receipt__delivered_on", "order_line__order__sent_at", "receipt_id", "order_line_id")  # fmt: skip
    for seller, part, came, sent, receipt_id, line_id in rows.order_by("-receipt__posted_at", "-pk").values_list(
        *names
    ):
        if (receipt_id, line_id) in seen:  # two batches of one delivery
            continue
        seen.add((receipt_id, line_id))
        days.setdefault((seller, part), []).append(max((came - timezone.localdate(sent)).days, 0))
    return {pair: found for pair, its in days.items() if (found := observed(its))}


def lead_time_of(supplier_id: int) -> LeadTime | None:
    """How long the supplier's last deliveries took, whatever was in them."""
    rows = ReceiptLine.objects.filter(
        receipt__posted_at__isnull=False, receipt__supplier_id=supplier_id, order_line__isnull=False
    )
    pairs = rows.order_by("-receipt__posted_at", "receipt_id").values_list(
        "receipt_id", "receipt__delivered_on", "order_line__order_id", "order_line__order__sent_at"
    )
    found = {(r, o): max((came - timezone.localdate(sent)).days, 0) for r, came, o, sent in pairs[:200]}
    return observed(found.values())


# --- the three-way look ---------------------------------------------------------------------------


def supplier_invoices(*, supplier_id: int | None = None, number: str = "") -> QuerySet[SupplierInvoice]:
    found = SupplierInvoice.objects.select_related("supplier", "credits").prefetch_related("lines")
    if supplier_id is not None:
        found = found.filter(supplier_id=supplier_id)
    return found.filter(number__iexact=number.strip()) if number else found


def supplier_invoice(pk: int) -> SupplierInvoice | None:
    lines = SupplierInvoiceLine.objects.select_related(
        "receipt_line__part", "receipt_line__receipt", "receipt_line__lot"
    )
    rows = SupplierInvoice.objects.select_related("supplier", "by", "credits").prefetch_related(
        Prefetch("lines", lines), "credit_notes"
    )
    return rows.filter(pk=pk).first()


def not_billed(supplier_id: int, most: int) -> tuple[list[ReceiptLine], bool]:
    """Posted lines of a supplier of which something waits for an invoice, the oldest first, at most so many, and whether there
    are more; in three queries. Each `quantity` is what waits: all that came while no invoice names the line, else what was
    kept and is not charged, or was charged and credited again."""
    its = SupplierInvoiceLine.objects.filter(receipt_line=OuterRef("pk")).order_by().values("receipt_line")
    charged = its.annotate(
        q=Sum("quantity", filter=Q(effect="charged"))
        - Coalesce(Sum("quantity", filter=Q(effect="returned")), Value(Decimal(0)))
    ).values("q")
    gone = SentBack.objects.filter(receipt_line=OuterRef("pk")).order_by().values("receipt_line")
    rows = ReceiptLine.objects.filter(receipt__supplier_id=supplier_id, receipt__posted_at__isnull=False).alias(
        charged=Subquery(charged),
        gone=Coalesce(Subquery(gone.annotate(q=Sum("quantity")).values("q")), Value(Decimal(0))),
    )
    # a sum in SQLite is off by less than the last of six decimals
    rows = rows.filter(Q(charged__isnull=True) | Q(charged__lt=F("quantity") - F("gone") - Value(Decimal("0.0000005"))))
    rows = rows.select_related("receipt", "part", "order_line__order").prefetch_related("billed", "sent_back")
    found: list[ReceiptLine] = list(rows.order_by("receipt__posted_at", "position", "id")[: most + 1])
    for row in found:
        if said := list(row.billed.all()):
            row.quantity -= sum((x.quantity for x in row.sent_back.all()), Decimal(0))
            row.quantity -= sum((b.quantity for b in said if b.effect == "charged"), Decimal(0))
            row.quantity += sum((b.quantity for b in said if b.effect == "returned"), Decimal(0))
    return found[:most], len(found) > most


class ThreeWay(NamedTuple):
    """One part of an order, or one line that nobody ordered: what was ordered, came and was charged, and what differs."""

    line: OrderLine | ReceiptLine
    ordered: Side | None
    received: Side
    sent_back: Decimal
    billed: Side | None
    words: list[str]


def three_way(order: PurchaseOrder) -> list[ThreeWay]:
    """Order, receipts and invoices of each line side by side, in three queries."""
    came = ReceiptLine.objects.filter(order_line__order=order, receipt__posted_at__isnull=False)
    by_line: dict[int, list[ReceiptLine]] = {}
    for row in came.prefetch_related("sent_back", "billed").order_by("pk"):
        by_line.setdefault(row.order_line_id or 0, []).append(row)
    found = []
    for line in order.lines.select_related("part"):
        rows = by_line.get(line.pk, [])
        ordered = Side(line.quantity, line.price, line.per_package)
        found.append(_looked_at(line, ordered, rows, line.part.unit, order.currency))
    return found


def extras(order: PurchaseOrder) -> list[str]:
    """Where suppliers' invoices over the deliveries of this order charge freight or duty otherwise than was counted into the
    goods' cost at receipt, in words; in four queries. Deliveries and invoices that hang together are looked at as one sum."""
    came = ReceiptLine.objects.filter(order_line__order=order, receipt__posted_at__isnull=False)
    bills = SupplierInvoice.objects.filter(lines__receipt_line__receipt__in=came.values("receipt"))
    billed = list(bills.distinct())
    if not billed:
        return []
    lines = ReceiptLine.objects.filter(
        receipt__in=ReceiptLine.objects.filter(billed__invoice__in=billed).values("receipt")
    )
    receipts = {x.pk: x for x in GoodsReceipt.objects.filter(pk__in=lines.values("receipt"))}
    open_ = lines.annotate(charged=Sum("billed__quantity", filter=Q(billed__effect="charged"))).filter(
        Q(charged__isnull=True) | Q(charged__lt=F("quantity"))
    )
    whole = not open_.exists()
    found = []
    for name in ("freight", "duty"):
        counted = sum((getattr(r, name) for r in receipts.values()), Decimal(0))
        charged = sum(((-1 if b.credits_id else 1) * getattr(b, name) for b in billed), Decimal(0))
        found.append(matched(name.capitalize(), counted, charged, order.currency, whole=whole))
    return [said for said in found if said]


def _looked_at(
    line: OrderLine | ReceiptLine, ordered: Side | None, rows: list[ReceiptLine], code: str, currency: str
) -> ThreeWay:
    zero = Decimal(0)
    said = [b for row in rows for b in row.billed.all()]
    bills = [b for b in said if b.effect == SupplierInvoiceLine.Effect.CHARGED]
    returned = sum((b.quantity for b in said if b.effect == SupplierInvoiceLine.Effect.RETURNED), zero)
    corrected = sum((b.net for b in said if b.effect == SupplierInvoiceLine.Effect.PRICE), zero)
    back = sum((b.quantity for row in rows for b in row.sent_back.all()), zero)
    first = rows[0] if rows else None
    received = Side(
        sum((r.quantity for r in rows), zero), first.price if first else None, first.price_per if first else Decimal(1)
    )
    dearest = max(bills, key=lambda b: b.price / b.price_per, default=None)
    billed = Side(sum((b.quantity for b in bills), zero), dearest.price, dearest.price_per) if dearest else None
    words = differences(
        ordered, received, billed, code=code, currency=currency, sent_back=back, credited=returned, corrected=corrected
    )
    return ThreeWay(line, ordered, received, back, billed, words)


def history(row: models.Model) -> QuerySet[TrailRow]:
    """What was done to an order or a receipt, the latest first."""
    return TrailRow.objects.filter(root=kind_of(row), root_id=row.pk).select_related("by").order_by("-id")
