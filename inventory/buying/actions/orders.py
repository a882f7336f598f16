"""An order while it is a draft: what is wanted of whom."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Max

from inventory.parts.actions import fix_units
from inventory.parts.models import Part
from shop.business.queries import default_site, site
from shop.kernel import clock, quantity
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import packing
from ..models import Offer, OrderLine, PurchaseOrder, Supplier
from ..packing import Step

MOST_LINES = 500
ONE = Decimal(1)


@writes
def draft_order(
    *, by: Person, supplier_id: int, site_id: int | None = None, wanted_on: date | None = None, note: str = ""
) -> PurchaseOrder:
    """Begin an order to a supplier, to be delivered to a site (None: the oldest in use). Raises NotFound, BadInput, Refused
    (an archived supplier)."""
    supplier = _held_supplier(supplier_id)
    order = PurchaseOrder(
        supplier=supplier, site_id=_site(site_id), currency=supplier.currency, wanted_on=_wanted(wanted_on),
        note=clean_text(note, field="note", max_length=4000), created_at=clock.now(), created_by=by,
    )  # fmt: skip
    order.save(force_insert=True)
    record(by, "order.drafted", order, supplier=supplier.name)
    return order


@writes
def edit_order(pk: int, expect: int | None, *, by: Person, **values: Any) -> PurchaseOrder:
    """Change `site_id`, `wanted_on` or `note` of a draft. Raises NotFound, Stale, BadInput, Refused (sent)."""
    order = lock_draft(pk, expect)
    if unknown := set(values) - {"site_id", "wanted_on", "note"}:
        raise TypeError(f"an order has no {sorted(unknown)}")
    if "note" in values:
        values["note"] = clean_text(values["note"] or "", field="note", max_length=4000)
    if "wanted_on" in values:
        values["wanted_on"] = _wanted(values["wanted_on"])
    if "site_id" in values:
        values["site_id"] = _site(values["site_id"])
    before = {name: getattr(order, name) for name in values}
    save_next(order, **values)
    record(by, "order.changed", order, changed=changes(_plain(before), _plain(values)))
    return order


@writes
def discard_order(pk: int, expect: int | None, *, by: Person) -> None:
    """Throw a draft away. It was never sent, so nobody waits for it; the trail keeps that it was. Raises as edit_order."""
    order = lock_draft(pk, expect)
    lines = [f"{x.quantity.normalize():f} {x.part}" for x in order.lines.select_related("part")]
    record(by, "order.discarded", order, supplier=order.supplier.name, lines=lines)
    order.lines.all().delete()
    order.delete()


@writes
def add_to_order(
    *,
    by: Person,
    supplier_id: int,
    part_id: int,
    quantity: Decimal,
    offer_id: int | None = None,
    label: str = "",
    wanted_on: date | None = None,
    site_id: int | None = None,
) -> OrderLine:
    """Put `quantity` of a part (in its unit) onto the supplier's open draft, which is begun when there is none: a proposal, or
    what a card needs (`label`: "card 26-0031").

    Ordered in whole packages of the offer given, else of the supplier's cheapest one for this quantity, and at least its
    minimum; without an offer by the unit, the price to be filled in. A line for the same offer and label grows.
    Raises NotFound, BadInput, Refused (archived supplier or part).
    """
    supplier = _held_supplier(supplier_id)
    where = _site(site_id)
    drafts = PurchaseOrder.objects.select_for_update(of=("self",), no_key=True).filter(
        supplier=supplier, site_id=where, sent_at__isnull=True
    )
    order = drafts.order_by("pk").first() or draft_order(by=by, supplier_id=supplier_id, site_id=where)
    return _add(
        order, by, part_id=part_id, quantity=quantity, offer_id=offer_id, label=label, wanted_on=wanted_on, grow=True
    )


@writes
def add_order_line(
    order_id: int,
    expect: int | None,
    *,
    by: Person,
    part_id: int,
    quantity: Decimal,
    offer_id: int | None = None,
    price: Decimal | None = None,
    label: str = "",
    wanted_on: date | None = None,
) -> OrderLine:
    """A line onto a draft; as add_to_order. `price` of one package (without an offer: of one unit) instead of the offer's.
    Raises NotFound, Stale, BadInput, Refused (sent, too many lines)."""
    order = lock_draft(order_id, expect)
    return _add(
        order, by, part_id=part_id, quantity=quantity, offer_id=offer_id, price=price, label=label, wanted_on=wanted_on
    )


@writes
def edit_order_line(line_id: int, expect: int | None, *, by: Person, **values: Any) -> OrderLine:
    """Change `packages`, `price` (None: not known), `label` or `wanted_on` of a draft's line; `expect` is the version of the
    order. Another number of packages takes the offer's price for it, unless `price` is given as well."""
    order, line = lock_draft_line(line_id, expect)
    if unknown := set(values) - {"packages", "price", "label", "wanted_on"}:
        raise TypeError(f"an order line has no {sorted(unknown)}")
    before = {name: getattr(line, name) for name in values}
    if "packages" in values:
        _set_packages(line, values["packages"])
        if line.offer is not None and "price" not in values:
            line.price = packing.price_of(_steps(line.offer), line.packages)
    if "price" in values:
        line.price = None if values["price"] is None else packing.price(values["price"])
    if "label" in values:
        line.label = clean_line(values["label"] or "", field="label", max_length=120)
    if "wanted_on" in values:
        line.wanted_on = _wanted(values["wanted_on"])
    _check_worth(line)
    line.save(update_fields=["packages", "quantity", "price", "label", "wanted_on"])
    save_next(order)
    after = {name: getattr(line, name) for name in values}
    record(by, "order.line-changed", line, root=order, changed=changes(_plain(before), _plain(after)))
    return line


@writes
def remove_order_line(line_id: int, expect: int | None, *, by: Person) -> PurchaseOrder:
    """Take a line off a draft. Raises NotFound, Stale, Refused (sent)."""
    order, line = lock_draft_line(line_id, expect)
    record(by, "order.line-removed", line, root=order, part=line.part.number, quantity=plain(line.quantity))
    line.delete()
    save_next(order)
    return order


def lock_draft(order_id: int, expect: int | None) -> PurchaseOrder:
    """Raises NotFound, Stale, Refused when it was sent."""
    order = claim(PurchaseOrder, order_id, expect)
    if order.sent_at is not None:
        raise Refused(
            f"Order {order.number} was sent and stays as it is. Close what is no longer wanted, and order anew.",
            code="sent",
        )
    return order


def lock_draft_line(line_id: int, expect: int | None) -> tuple[PurchaseOrder, OrderLine]:
    order_id = OrderLine.objects.filter(pk=line_id).values_list("order_id", flat=True).first()
    if order_id is None:
        raise NotFound("There is no such line.")
    order = lock_draft(order_id, expect)
    line = OrderLine.objects.select_related("part", "offer").filter(pk=line_id, order=order).first()
    if line is None:  # removed while this one waited
        raise NotFound("There is no such line.")
    line.order = order
    return order, line


def _add(
    order: PurchaseOrder,
    by: Person,
    *,
    part_id: int,
    quantity: Decimal,
    offer_id: int | None,
    label: str,
    wanted_on: date | None,
    price: Decimal | None = None,
    grow: bool = False,
) -> OrderLine:
    part = Part.objects.filter(pk=part_id).first()
    if part is None:
        raise field_error("part_id", "There is no such part.", code="unknown-part")
    if part.archived_at is not None:
        raise Refused(
            f"{part.number} was put away. Bring the part back first, or order its successor.", code="archived"
        )
    wanted = _positive(quantity, part)
    offer = _offer(order, part, offer_id, wanted)
    label = clean_line(label, field="label", max_length=120)
    if grow:
        there = order.lines.filter(part=part, offer=offer, label=label).select_related("part", "offer").first()
        if there is not None:
            return _grow(order, there, wanted, wanted_on, by)
    last = order.lines.aggregate(last=Max("position"))["last"] or 0
    if order.lines.count() >= MOST_LINES:
        raise Refused(f"An order has at most {MOST_LINES} lines. Begin another.", code="too-many-lines")
    line = OrderLine(
        order=order, position=last + 1, part=part, offer=offer, label=label, wanted_on=_wanted(wanted_on),
        number=offer.number if offer else "", name=(offer.name if offer else "") or part.name,
        package=offer.package if offer else "", per_package=offer.per_package if offer else ONE,
    )  # fmt: skip
    _set_packages(line, packing.packages_for(wanted, offer.per_package, offer.min_packages) if offer else wanted)
    if price is not None:
        line.price = packing.price(price)
    elif offer is not None:
        line.price = packing.price_of(_steps(offer), line.packages)
    _check_worth(line)
    fix_units({part.pk})
    line.save(force_insert=True)
    save_next(order)
    record(by, "order.line-added", line, root=order, part=part.number, quantity=plain(line.quantity), label=label)
    return line


def _grow(order: PurchaseOrder, line: OrderLine, more: Decimal, wanted_on: date | None, by: Person) -> OrderLine:
    before = line.quantity
    offer = line.offer
    total = line.quantity + more
    _set_packages(line, packing.packages_for(total, offer.per_package, offer.min_packages) if offer else total)
    if offer is not None:
        line.price = packing.price_of(_steps(offer), line.packages)
    if wanted_on is not None:
        line.wanted_on = min(filter(None, (line.wanted_on, _wanted(wanted_on))))
    _check_worth(line)
    line.save(update_fields=["packages", "quantity", "price", "wanted_on"])
    line.order = order
    save_next(order)
    record(by, "order.line-changed", line, root=order, changed={"quantity": [plain(before), plain(line.quantity)]})
    return line


def _offer(order: PurchaseOrder, part: Part, offer_id: int | None, wanted: Decimal) -> Offer | None:
    """The offer asked for, or the supplier's that costs least for this quantity."""
    theirs = Offer.objects.filter(
        supplier_id=order.supplier_id, part=part, archived_at__isnull=True, currency=order.currency
    ).prefetch_related("prices")
    if offer_id is not None:
        found = theirs.filter(pk=offer_id).first()
        if found is None:
            raise field_error(
                "offer_id", f"This supplier has no such offer of {part.number} in {order.currency}. Choose another.",
                code="unknown-offer",
            )  # fmt: skip
        return found
    return min(theirs, key=lambda o: _cost(o, wanted), default=None)


def _cost(offer: Offer, wanted: Decimal) -> tuple[bool, Decimal, int]:
    packages = packing.packages_for(wanted, offer.per_package, offer.min_packages)
    price = packing.price_of(_steps(offer), packages)
    return price is None, packages * (price or Decimal(0)), offer.pk


def _steps(offer: Offer) -> list[Step]:
    return [Step(p.from_packages, p.price) for p in offer.prices.all()]


def _set_packages(line: OrderLine, packages: Decimal) -> None:
    """So many packages; an offer's only whole and not below its minimum, without one as fine as the part is counted."""
    if line.offer is None:
        line.packages = line.quantity = _positive(packages, line.part, field="packages")
        return
    line.packages = packing.whole(packages, "packages")
    if line.packages < line.offer.min_packages:
        least = line.offer.min_packages.normalize()
        raise field_error("packages", f"The supplier sells at least {least:f}. Order so many.", code="below-minimum")
    line.quantity = _positive(line.packages * line.per_package, line.part, field="packages")


def _check_worth(line: OrderLine) -> None:
    if line.price is not None and line.price * line.packages >= packing.PRICE_LIMIT:
        raise field_error("price", "Price times packages is too large to be right.", code="too-large")


def _positive(value: Decimal, part: Part, *, field: str = "quantity") -> Decimal:
    return quantity.positive(as_decimal(value, field), part.unit, field=field)


def _held_supplier(pk: int) -> Supplier:
    """Locked, so that two who order at once find the same draft."""
    supplier = Supplier.objects.select_for_update(no_key=True).filter(pk=pk).first()
    if supplier is None:
        raise NotFound("There is no such supplier.")
    if supplier.archived_at is not None:
        raise Refused(f"{supplier.name} was put away. Take the supplier back first.", code="archived")
    return supplier


def _site(site_id: int | None) -> int:
    if site_id is None:
        return default_site().pk
    found = site(site_id)
    if found is None or found.archived_at:
        raise field_error("site_id", "There is no such site.", code="unknown-site")
    return site_id


def _wanted(day: date | None) -> date | None:
    if day is not None and not 0 <= (day - clock.today()).days <= 3 * 366:
        raise field_error("wanted_on", "Give a day from today on, within three years.", code="bad-day")
    return day


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    return {k: plain(v) if isinstance(v, Decimal) else str(v) if isinstance(v, date) else v for k, v in values.items()}
