"""An order as a PDF, from its rows alone, so that a sent one always comes out the same."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.utils import timezone

from shop.business.models import Business
from shop.business.queries import profile
from shop.documents import shapes
from shop.documents.typesetting import typeset
from shop.kernel.countries import country_name
from shop.kernel.quantity import Quantity

from . import packing
from .models import OrderLine, PurchaseOrder


def pdf(order: PurchaseOrder) -> bytes:
    """The document; marked DRAFT until it is sent. Raises what `typeset` raises."""
    return typeset("purchase_order", shape(order), language="en", timestamp=order.sent_at or order.created_at)


def file_name(order: PurchaseOrder) -> str:
    return f"{order.number}.pdf" if order.sent_at else f"draft-order-{order.pk}.pdf"


def stated(order: PurchaseOrder, business: Business, *, contact: str) -> dict[str, Any]:
    """Letterhead, supplier and place of delivery, copied when the order is sent. Plain values, JSON-able."""
    supplier, own = order.supplier, business.country
    name = business.legal_name or business.name
    city = f"{supplier.postcode} {supplier.city}".strip()
    abroad = country_name(supplier.country) if supplier.country and supplier.country != own else ""
    address = [x for x in (business.street, f"{business.postcode} {business.city}".strip()) if x]
    return {
        "business": {
            "name": name, "address": address, "country": country_name(own) if own else "", "phone": business.phone,
            "strapline": business.name if business.name != name else "", "email": business.email,
            "website": business.website, "vat_no": business.vat_no, "registration": business.registration,
            "is_demo": business.is_sample,
        },
        "supplier": {
            "name": supplier.name, "address": [x for x in (supplier.street, city, abroad) if x],
            "number": supplier.account_no, "phone": supplier.phone, "email": supplier.email, "vat_no": supplier.vat_no,
        },
        "deliver_to": [f"{name}, {order.site.name}", *address],
        "contact": contact,
    }  # fmt: skip


def shape(order: PurchaseOrder) -> shapes.PurchaseOrder:
    lines = list(order.lines.select_related("part"))
    said = order.stated if order.sent_at else stated(order, profile(), contact=order.created_by.name)
    return shapes.PurchaseOrder(
        number=order.number or "Draft",
        date=timezone.localdate(order.sent_at or order.created_at),
        currency=order.currency,
        business=shapes.Business(**said["business"] | {"address": tuple(said["business"]["address"])}),
        supplier=shapes.Party(**said["supplier"] | {"address": tuple(said["supplier"]["address"])}),
        lines=tuple(_line(n, line, order.currency) for n, line in enumerate(lines, start=1)),
        total=total(lines, order.currency),
        deliver_to=tuple(said["deliver_to"]),
        wanted_by=order.wanted_on,
        contact=said["contact"],
        notes=(order.note,) if order.note else (),
        mark="" if order.sent_at else "draft",
    )


def net(line: OrderLine, currency: str) -> Decimal:
    """What the line comes to, rounded to the cent; 0 while its price is not known."""
    return packing.net(line.packages, line.price or Decimal(0), Decimal(1), currency)


def total(lines: list[OrderLine], currency: str) -> Decimal:
    return sum((net(line, currency) for line in lines), Decimal(0))


def _line(n: int, line: OrderLine, currency: str) -> shapes.Line:
    packed = line.package or line.per_package != 1
    held = Quantity(line.per_package.normalize(), line.part.unit)
    name = f"{line.name} ({line.package or 'package'} of {held})" if packed else line.name
    details = [f"Our number {line.part.number}"]
    if line.wanted_on:
        details.append(f"wanted by {line.wanted_on:%Y-%m-%d}")
    if line.label:
        details.append(f"for {line.label}")
    return shapes.Line(
        text=name, net=net(line, currency), position=str(n), number=line.number, detail=", ".join(details),
        qty=line.packages, unit="C62" if packed else line.part.unit, unit_price=line.price,
    )  # fmt: skip
