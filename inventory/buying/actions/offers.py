from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from django.db import IntegrityError

from inventory.parts.actions import fix_units
from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.findings import Findings
from shop.kernel.identity import check_gtin
from shop.kernel.rounding import minor_units
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import packing
from ..models import Offer, PriceBreak, Supplier
from ..packing import Step

LINES = {"number": 60, "name": 160, "package": 40, "note": 200}
FIELDS = frozenset(
    {*LINES, "content", "content_unit", "gtin", "currency", "min_packages", "lead_days", "preferred", "prices"}
)


@writes
def add_offer(*, by: Person, supplier_id: int, part_id: int, **values: Any) -> Offer:
    """Note how a supplier sells a part; a part may have several, also by one supplier.

    Values are fields of Offer, and `prices`, the price breaks as Steps. `content_unit` is the part's when left out,
    `currency` the supplier's. Raises NotFound (supplier, part), BadInput, Refused (either is archived).
    """
    part, supplier = _part(part_id), _supplier(supplier_id)
    values = {"content": Decimal(1), "content_unit": part.unit, "currency": supplier.currency, "prices": ()} | values
    clean, prices = _checked(values, part)
    offer = Offer(supplier=supplier, part=part, **clean)
    _refuse_clashes(offer)
    fix_units({part.pk})
    _prefer(offer)
    _saved(lambda: offer.save(force_insert=True))
    _price(offer, prices or [])
    record(by, "offer.added", offer, root=part, supplier=supplier.name, number=offer.number)
    return offer


@writes
def edit_offer(pk: int, expect: int | None, *, by: Person, **values: Any) -> Offer:
    """Change fields of an offer at version `expect`; `prices` replaces all its price breaks. What was ordered before keeps
    what it was ordered at. Raises NotFound, Stale, BadInput."""
    offer = claim(Offer, pk, expect, archived_at__isnull=True)
    before = {name: getattr(offer, name) for name in values if name != "prices"}
    if "prices" in values:
        before["prices"] = [[str(p.from_packages), str(p.price)] for p in offer.prices.all()]
    whole = {name: getattr(offer, name) for name in ("content", "content_unit")} | values
    clean, prices = _checked(whole, offer.part)
    for name, value in clean.items():
        setattr(offer, name, value)
    _refuse_clashes(offer)
    _prefer(offer)
    _saved(lambda: save_next(offer, **clean))
    if prices is not None:
        _price(offer, prices)
    after = {name: getattr(offer, name) for name in before if name != "prices"}
    if prices is not None:
        after["prices"] = [[str(p.from_packages), str(p.price)] for p in prices]
    record(by, "offer.changed", offer, root=offer.part, changed=changes(before, after))
    return offer


@writes
def archive_offer(pk: int, expect: int | None, *, by: Person) -> Offer:
    """Put an offer away: orders that name it stay, and it is no longer offered. Raises NotFound, Stale."""
    offer = claim(Offer, pk, expect, archived_at__isnull=True)
    save_next(offer, archived_at=clock.now(), preferred=False)
    record(by, "offer.archived", offer, root=offer.part)
    return offer


@writes
def restore_offer(pk: int, *, by: Person) -> Offer:
    """Offer it again. Nothing happens when it is. Raises NotFound, BadInput (its number or GTIN is used by another now)."""
    offer = claim(Offer, pk, None)
    if offer.archived_at is not None:
        offer.archived_at = None
        _refuse_clashes(offer)
        _saved(lambda: save_next(offer, archived_at=None))
        record(by, "offer.restored", offer, root=offer.part)
    return offer


def _part(pk: int) -> Part:
    part = Part.objects.filter(pk=pk).first()
    if part is None:
        raise NotFound("There is no such part.")
    if part.archived_at is not None:
        raise Refused(f"{part.number} was put away. Bring the part back first.", code="archived")
    return part


def _supplier(pk: int) -> Supplier:
    supplier = Supplier.objects.filter(pk=pk).first()
    if supplier is None:
        raise NotFound("There is no such supplier.")
    if supplier.archived_at is not None:
        raise Refused(f"{supplier.name} was put away. Take the supplier back first.", code="archived")
    return supplier


def _checked(values: dict[str, Any], part: Part) -> tuple[dict[str, Any], list[Step] | None]:
    """Clean values of an offer and its price breaks (None: not given). Raises BadInput naming every wrong field."""
    if unknown := set(values) - FIELDS:
        raise TypeError(f"an offer has no {sorted(unknown)}")
    clean, found = dict(values), Findings()
    found.lines(clean, LINES)
    clean["content_unit"] = clean.get("content_unit") or part.unit
    prices: list[Step] | None = None
    for check in (
        lambda: clean.update(per_package=packing.per_package(clean["content"], clean["content_unit"], part.unit)),
        lambda: clean.update(currency=_currency(clean["currency"])) if "currency" in clean else None,
        lambda: clean.update(gtin=_gtin(clean["gtin"])) if "gtin" in clean else None,
        lambda: (
            clean.update(min_packages=packing.whole(clean["min_packages"], "min_packages"))
            if "min_packages" in clean
            else None
        ),
    ):
        try:
            check()
        except BadInput as error:
            found.note(error)
    if clean.get("prices") is not None:
        try:
            prices = packing.steps(clean["prices"])
        except BadInput as error:
            found.note(error)
    clean.pop("prices", None)
    days = clean.get("lead_days")
    if days is not None and not 0 <= days <= 730:
        found.add("lead_days", "Give 0 to 730 days, or leave it empty.")
    found.raise_any()
    return clean, prices


def _currency(code: str | None) -> str:
    code = (code or "").strip().upper()
    try:
        minor_units(code)
    except BadInput:
        raise field_error("currency", "Give the three letters of a currency, such as EUR.") from None
    return code


def _gtin(text: str | None) -> str:
    if not (text or "").strip():
        return ""
    checked = check_gtin(text or "")
    if not checked.ok:
        raise field_error("gtin", checked.reason, code="bad-gtin")
    return checked.number.rjust(14, "0")


def _refuse_clashes(offer: Offer) -> None:
    """A GTIN stands for one part in one package, whoever sells it; a supplier's number for one offer of theirs."""
    others = Offer.objects.filter(archived_at__isnull=True).exclude(pk=offer.pk).select_related("part", "supplier")
    if offer.number and (other := others.filter(supplier=offer.supplier, number__iexact=offer.number).first()):
        raise field_error(
            "number", f"{offer.supplier.name} sells {other.part} under this number. Change that offer, or read again.",
            code="number-taken",
        )  # fmt: skip
    if not offer.gtin:
        return
    short = offer.gtin.lstrip("0")
    codes = [offer.gtin, *(short.rjust(n, "0") for n in (13, 12, 8) if len(short) <= n)]
    taken = Part.objects.filter(barcodes__code__in=codes).exclude(pk=offer.part_id).first()
    other = others.filter(gtin=offer.gtin).exclude(part=offer.part, per_package=offer.per_package).first()
    if taken or other:
        part = taken or other.part  # type: ignore[union-attr]
        packed = "" if taken or part != offer.part else ", in a package of another content"
        raise field_error(
            "gtin",
            f"This GTIN belongs to {part}{packed}. A code names one part in one package only.",
            code="gtin-taken",
        )


def _prefer(offer: Offer) -> None:
    """One offer of a part is preferred: the others no longer are."""
    if offer.preferred:
        others = Offer.objects.select_for_update().filter(part=offer.part, preferred=True).exclude(pk=offer.pk)
        for other in others.order_by("pk"):
            save_next(other, preferred=False)


def _price(offer: Offer, prices: Iterable[Step]) -> None:
    offer.prices.all().delete()
    PriceBreak.objects.bulk_create(
        [PriceBreak(offer=offer, from_packages=s.from_packages, price=s.price) for s in prices]
    )
    offer._prefetched_objects_cache = {}  # type: ignore[attr-defined]


def _saved(save: Callable[[], None]) -> None:
    """Two people at once pass the checks together; a constraint then lets only one in."""
    try:
        save()
    except IntegrityError as error:
        name = "preferred" if "preferred" in str(error) else "number"
        raise field_error(name, "Somebody else saved an offer like this just now. Look again.") from error
