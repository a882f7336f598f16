"""A part itself."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from typing import Any

from django.db import IntegrityError
from django.db.models import Value
from django.db.models.functions import Lower
from django.db.models.lookups import Exact

from shop.kernel import clock, units
from shop.kernel.decimals import as_decimal, decimals_of
from shop.kernel.errors import Refused, field_error
from shop.kernel.quantity import check
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import ghs
from ..barcodes import keys
from ..models import Barcode, Part, PartKind
from ..naming import away, find_text
from .barcodes import put_barcode

PRICE_LIMIT = Decimal(10) ** 8
PRICE_DECIMALS = 6
DAYS_LIMIT = 36_500
_OURS = {"id", "version", "archived_at", "unit_fixed", "find_text"}
_LINES = {"number": 40, "name": 160, "tax_code": 20, "storage_note": 200}


@writes
def add_part(
    *, by: Person, number: str, name: str, kind: str, unit: str = "C62", barcodes: Sequence[str] = (), **values: Any
) -> Part:
    """Add a part to the catalogue.

    `unit` is the UN/ECE Recommendation 20 code its quantities, price and cost are counted in; `barcodes` are used by
    everybody. Further values are fields of Part. Raises BadInput (a number or barcode that is taken, an unknown unit or
    kind, a bad price).
    """
    part = Part(**check_values({"number": number, "name": name, "kind": kind, "unit": unit} | values))
    _refuse_taken(part.number, but=None)
    part.find_text = find_text(part, barcodes)
    _saved(lambda: part.save(force_insert=True))
    record(by, "part.added", part, number=part.number, name=part.name)
    for code in barcodes:
        put_barcode(part, code, by=by, field="barcodes")
    return part


@writes
def edit_part(pk: int, expect: int | None, *, by: Person, **values: Any) -> Part:
    """Change fields of a part at version `expect`.

    Raises NotFound, Stale, BadInput, and Refused for another unit once the part was in stock: what was counted in
    millilitres can't become pieces.
    """
    part = claim(Part, pk, expect)
    values = check_values(values, part)
    _refuse_taken(values.get("number", part.number), but=pk)
    if values.get("unit", part.unit) != part.unit and part.unit_fixed:
        raise Refused(
            f"{part.number} is counted in {units.unit(part.unit).name} already, so its unit stays. Add a new part with "
            "the other unit and archive this one.",
            code="unit-fixed",
        )
    before = {name: getattr(part, name) for name in values}
    for name, value in values.items():
        setattr(part, name, value)
    codes = list(part.barcodes.values_list("code", flat=True))
    _saved(lambda: save_next(part, **values, find_text=find_text(part, codes)))
    record(by, "part.changed", part, changed=changes(before, values))
    return part


@writes
def archive_part(pk: int, expect: int | None, *, by: Person) -> Part:
    """Put a part away: it stays in history and stock, and is no longer offered."""
    part = claim(Part, pk, expect, archived_at__isnull=True)
    save_next(part, archived_at=clock.now())
    record(by, "part.archived", part)
    return part


@writes
def restore_part(pk: int, *, by: Person) -> Part:
    """Offer an archived part again. Nothing happens when it is offered. Raises NotFound."""
    part = claim(Part, pk, None)
    if part.archived_at is not None:
        save_next(part, archived_at=None)
        record(by, "part.restored", part)
    return part


@writes
def fix_units(part_ids: Collection[int]) -> None:
    """From now on the units of these parts can't change, because something counts in them. Called before their first
    movement, and locks the rows, so that an edit of a unit either came before or is refused."""
    open_ = Part.objects.filter(pk__in=part_ids, unit_fixed=False)
    ids = list(open_.select_for_update().order_by("pk").values_list("pk", flat=True))
    Part.objects.filter(pk__in=ids).update(unit_fixed=True)


def check_values(values: dict[str, Any], part: Part | None = None) -> dict[str, Any]:
    """The values cleaned; raises BadInput at the first that can't be used."""
    known = {f.name for f in Part._meta.concrete_fields} - _OURS
    unknown = set(values) - known
    if unknown:
        raise TypeError(f"a part has no {sorted(unknown)}")
    for name, longest in _LINES.items():
        if name in values:
            values[name] = clean_line(
                values[name] or "", field=name, required=name in ("number", "name"), max_length=longest
            )
    if "note" in values:
        values["note"] = clean_text(values["note"] or "", field="note", max_length=4000)
    if "kind" in values and values["kind"] not in PartKind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(PartKind.values) + ".", code="unknown-kind")
    if "unit" in values:
        units.unit(values["unit"])
    if values.get("sale_price") is not None:
        values["sale_price"] = _price(values["sale_price"])
    for name in ("shelf_life_days", "open_life_days"):
        days = values.get(name)
        if days is not None and not 1 <= days <= DAYS_LIMIT:
            raise field_error(name, f"Give 1 to {DAYS_LIMIT} days, or leave it empty.", code="bad-days")
    if values.get("reorder_point") is not None:
        point = check(
            values["reorder_point"], values.get("unit") or (part.unit if part else "C62"), field="reorder_point"
        )
        if point < 0:
            raise field_error("reorder_point", "This can't be below zero.", code="negative")
    if "hazards" in values:
        values["hazards"] = ghs.check(values["hazards"] or ())
    return values


def _price(value: Decimal) -> Decimal:
    price = as_decimal(value, "sale_price")
    if price < 0:
        raise field_error("sale_price", "A price can't be below zero.", code="negative")
    if price >= PRICE_LIMIT:
        raise field_error("sale_price", "This price is too large to be right.", code="too-large")
    if decimals_of(price) > PRICE_DECIMALS:
        raise field_error("sale_price", f"A price has at most {PRICE_DECIMALS} decimals.", code="too-many-decimals")
    return price


def _refuse_taken(number: str, *, but: int | None) -> None:
    others = Part.objects.exclude(pk=but)
    if other := others.filter(Exact(Lower("number"), Lower(Value(number)))).first():
        raise field_error("number", f"{other.number} is taken{away(other)}: {other.name}.", code="number-taken")
    coded = Barcode.objects.filter(key__in=keys(number)).exclude(part_id=but).select_related("part").first()
    if coded:
        raise field_error(
            "number",
            f"{number} is a barcode of {coded.part.number} {coded.part.name}{away(coded.part)}. A scan couldn't tell them "
            "apart: choose another number, or take that barcode away first.",
            code="number-taken",
        )


def _saved(save: Callable[[], None]) -> None:
    """Two people adding the same number at once pass the check together; the constraint then lets only one in."""
    try:
        save()
    except IntegrityError as error:
        raise field_error("number", "Somebody else just took this number.", code="number-taken") from error
