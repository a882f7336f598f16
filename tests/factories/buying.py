"""Suppliers, offers and orders, made as a person would."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from inventory.buying import actions
from inventory.buying.models import GoodsReceipt, Offer, PurchaseOrder, Supplier
from inventory.buying.packing import Step
from inventory.parts.models import Part
from shop.people.models import Person
from tests.factories.stock import bin_


def supplier(by: Person, name: str = "Gullhaven Seals", **more: Any) -> Supplier:
    """The supplier with this name, made once."""
    return Supplier.objects.filter(name=name).first() or actions.add_supplier(by=by, name=name, **more)


def mailable(by: Person) -> Supplier:
    return supplier(by, email="orders@gullhaven.example", lead_days=5)


def offer(by: Person, part: Part, *prices: tuple[str, str], of: Supplier | None = None, **more: Any) -> Offer:
    """`prices`: (from so many packages, price)."""
    steps = [Step(Decimal(a), Decimal(b)) for a, b in prices or (("1", "21.40"),)]
    return actions.add_offer(by=by, supplier_id=(of or mailable(by)).pk, part_id=part.pk, prices=steps, **more)


def sent(by: Person, part: Part, quantity: str = "10", how: str = "phone", **more: Any) -> PurchaseOrder:
    """An order for so many of a part, sent."""
    found = Offer.objects.filter(part=part, archived_at__isnull=True).first() or offer(by, part)
    line = actions.add_to_order(
        by=by, supplier_id=found.supplier_id, part_id=part.pk, quantity=Decimal(quantity), **more
    )
    return actions.send_order(line.order_id, None, by=by, how=how)


def delivery(by: Person, order: PurchaseOrder, note: str = "4711", **values: Any) -> GoodsReceipt:
    """A delivery of an order, opened into bin A3-02."""
    return actions.open_receipt(by=by, order_id=order.pk, delivery_note=note, bin_id=bin_(by).pk, **values)


def received(by: Person, order: PurchaseOrder, note: str = "4711", **values: Any) -> GoodsReceipt:
    """All that is awaited of an order, posted."""
    row = delivery(by, order, note, **values)
    actions.fill_receipt(row.pk, by=by)
    return actions.post_receipt(row.pk, None, by=by)
