"""What the invented shop buys: how its suppliers sell parts, and orders in each situation a shop knows."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import NamedTuple

from inventory.buying import actions as buying
from inventory.buying.models import Offer, PurchaseOrder, Supplier
from inventory.buying.packing import Step
from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.identity import gtin_check_digit
from shop.people.models import Person

from . import einvoices
from .catalogue import PARTS, P


class Box(NamedTuple):
    word: str
    holds: str
    least: str = "1"


BOXES = {
    "FAS-704": Box("box", "100"), "FAS-705": Box("box", "100"), "FAS-706": Box("bag", "200"),
    "FAS-702": Box("bag", "10", "2"), "CON-801": Box("tube", "70"), "CON-802": Box("tube", "50"),
    "CON-803": Box("bottle", "50"), "CON-804": Box("tin", "400"), "OIL-811": Box("can", "20"), "OIL-812": Box("can", "5"),
    "CLN-821": Box("can", "10"),
}  # fmt: skip


def offer_all(*, by: Person) -> None:
    """Each part as its usual supplier sells it; gaskets also at a second one, dearer and slower."""
    parts = dict(Part.objects.values_list("number", "pk"))
    suppliers = dict(Supplier.objects.values_list("name", "pk"))
    for n, p in enumerate(PARTS, start=1):
        _offer(p, parts[p.number], suppliers[p.supplier], n, by)
    for n, p in enumerate((p for p in PARTS if p.kind == "gasket" and p.supplier != "Gullhaven Seals"), start=1):
        buying.add_offer(
            by=by, supplier_id=suppliers["Gullhaven Seals"], part_id=parts[p.number], number=f"GS-{5000 + n}",
            lead_days=10, prices=[Step(Decimal(1), _times(p.cost, "1.18"))],
        )  # fmt: skip


def _offer(p: P, part_id: int, supplier_id: int, n: int, by: Person) -> None:
    box = BOXES.get(p.number) or Box("", "1")
    price = _times(p.cost, box.holds)
    twelve = f"2901234{n:05}"  # a number range that GS1 keeps for use inside a company
    prices = [Step(Decimal(1), price)]
    if not box.word and price < 50:
        prices.append(Step(Decimal(10), _times(str(price), "0.92")))
    buying.add_offer(
        by=by, supplier_id=supplier_id, part_id=part_id, number=f"{p.supplier[:2].upper()}-{1000 + n}", package=box.word,
        content=Decimal(box.holds), gtin=twelve + gtin_check_digit(twelve), min_packages=Decimal(box.least),
        prices=prices, preferred=True,
    )  # fmt: skip


def _times(cost: str, factor: str) -> Decimal:
    return (Decimal(cost) * Decimal(factor)).quantize(Decimal("0.01"))


def order(today: datetime, *, stores: Person, office: Person) -> None:
    """One done, one half received with the rest asked for and what came invoiced by a file, one confirmed, one sent, one being counted, and a draft."""
    _done(today, stores, office)
    late = _ordered("Brindlecote Spares Depot", {"GKT-041": "6", "RNG-302": "2"}, today - timedelta(days=16), stores)
    with clock.at(today - timedelta(days=14)):
        buying.confirm_order(
            late.pk, None, by=stores, confirmation_no="AB-20771", promised_on=(today - timedelta(days=5)).date()
        )
    with clock.at(today - timedelta(days=5)):
        came = buying.open_receipt(by=stores, order_id=late.pk, delivery_note="L-88120")
        first = late.lines.get(position=1)
        buying.add_receipt_line(came.pk, None, by=stores, order_line_id=first.pk, quantity=Decimal(2))
        buying.post_receipt(came.pk, None, by=stores)
    with clock.at(today - timedelta(days=3)):
        einvoices.came(came.lines.get(), office=office)
    with clock.at(today - timedelta(days=2)):
        buying.chase_order(late.pk, None, by=stores, how="phone", note="Lorry broke down; they look for another")
    coming = _ordered("Ostwick Factors", {"GKT-111": "4", "RNG-311": "2"}, today - timedelta(days=3), stores)
    with clock.at(today - timedelta(days=2)):
        buying.confirm_order(
            coming.pk, None, by=stores, confirmation_no="OF 4410", promised_on=(today + timedelta(days=6)).date()
        )
    _ordered("Marram Lubricants", {"CON-802": "140"}, today - timedelta(days=1), stores, how="phone")
    here = _ordered("Gullhaven Seals", {"GKT-042": "4", "GKT-045": "2"}, today - timedelta(days=4), stores)
    with clock.at(today):
        counting = buying.open_receipt(by=stores, order_id=here.pk, delivery_note="4471")
        buying.scan_receipt_line(counting.pk, by=stores, code="GKT-042")
        _wanted("Tern & Daughters Fasteners", {"FAS-704": "100", "FAS-702": "20"}, stores)


def _done(today: datetime, stores: Person, office: Person) -> None:
    """Ordered two months ago, came in two deliveries, the first with freight; one piece of it went back; the
    invoice charges another price."""
    order = _ordered("Ostwick Factors", {"GKT-112": "6", "GKT-113": "4"}, today - timedelta(days=60), stores)
    with clock.at(today - timedelta(days=53)):
        first = buying.open_receipt(by=stores, order_id=order.pk, delivery_note="OF-1180", freight=Decimal("6.40"))
        line = order.lines.get(part__number="GKT-112")
        buying.add_receipt_line(first.pk, None, by=stores, order_line_id=line.pk, quantity=Decimal(6))
        buying.post_receipt(first.pk, None, by=stores)
    with clock.at(today - timedelta(days=51)):
        counted = first.lines.get()
        buying.send_back(
            by=stores, receipt_line_id=counted.pk, bin_id=first.bin_id, quantity=Decimal(1), reason="Torn at a hole"
        )
    with clock.at(today - timedelta(days=49)):
        second = buying.open_receipt(by=stores, order_id=order.pk, delivery_note="OF-1207")
        buying.fill_receipt(second.pk, by=stores)
        buying.post_receipt(second.pk, None, by=stores)
    with clock.at(today - timedelta(days=40)):
        rows = [*first.lines.all(), *second.lines.all()]
        lines = [buying.Billed(x.pk, price=x.price + Decimal("0.15") if x is rows[0] else None) for x in rows]
        total = sum((x.net or Decimal(0) for x in rows), Decimal("0.90")) + first.freight
        buying.record_supplier_invoice(
            by=office, supplier_id=order.supplier_id, number="2026-3391", dated_on=clock.today(), lines=lines, total=total,
            freight=first.freight, due_on=clock.today() + timedelta(days=30),
        )  # fmt: skip


def _wanted(supplier: str, parts: dict[str, str], by: Person, label: str = "") -> PurchaseOrder:
    for number, quantity in parts.items():
        offer = Offer.objects.get(part__number=number, supplier__name=supplier)
        line = buying.add_to_order(
            by=by, supplier_id=offer.supplier_id, part_id=offer.part_id, quantity=Decimal(quantity), label=label
        )
    return line.order


def _ordered(
    supplier: str, parts: dict[str, str], moment: datetime, by: Person, *, how: str = "mail", label: str = ""
) -> PurchaseOrder:
    with clock.at(moment):
        return buying.send_order(_wanted(supplier, parts, by, label).pk, None, by=by, how=how)
