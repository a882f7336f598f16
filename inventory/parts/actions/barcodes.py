"""Barcodes of a part."""

from __future__ import annotations

from django.db import IntegrityError
from django.db.models import Value
from django.db.models.functions import Lower
from django.db.models.lookups import Exact

from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..barcodes import read
from ..models import Barcode, Package, Part
from ..naming import away, find_text

MOST = 50


@writes
def add_barcode(part_id: int, *, by: Person, code: str, used_by: str = "", plain: bool = False) -> Barcode:
    """Give a part one more barcode. `used_by`: who prints it, in words, such as a supplier; empty: everybody.

    A GTIN's check digit must be right; `plain`: it is known to be none. Raises NotFound, BadInput (a wrong check digit; a
    code that another part has, naming it), Refused (more than 50).
    """
    part = claim(Part, part_id, None)
    return put_barcode(part, code, by=by, used_by=used_by, plain=plain)


@writes
def remove_barcode(barcode_id: int, *, by: Person) -> Part:
    """Take a barcode away; it may then be another part's. Raises NotFound."""
    part_id = Barcode.objects.filter(pk=barcode_id).values_list("part_id", flat=True).first()
    row = None
    if part_id is not None:
        part = claim(Part, part_id, None)
        row = part.barcodes.filter(pk=barcode_id).first()
    if row is None:
        raise NotFound("There is no such barcode any more.")
    record(by, "part.barcode-removed", row, root=part, code=row.code, used_by=row.used_by)
    row.delete()
    _found_by(part)
    return part


def put_barcode(
    part: Part, code: str, *, by: Person, used_by: str = "", plain: bool = False, field: str = "code"
) -> Barcode:
    """Inside the lock of the part's row. Raises as `add_barcode`."""
    found = read(code, plain=plain, field=field)
    row = Barcode(
        part=part, code=found.code, key=found.key, is_gtin=found.is_gtin, added_at=clock.now(),
        used_by=clean_line(used_by, field="used_by", max_length=80),
    )  # fmt: skip
    _refuse_taken(row, field)
    if part.barcodes.count() >= MOST:
        raise Refused(f"{part.number} has {MOST} barcodes. Take away those that nobody uses.", code="too-many-barcodes")
    try:
        row.save(force_insert=True)
    except IntegrityError as error:  # two adding it at once pass the check together; the constraint lets one in
        raise field_error(field, "Somebody else just gave this barcode to a part.", code="barcode-taken") from error
    _found_by(part)
    record(by, "part.barcode-added", row, root=part, code=row.code, used_by=row.used_by)
    return row


def _found_by(part: Part) -> None:
    part.find_text = find_text(part, part.barcodes.values_list("code", flat=True))
    part.save(update_fields=["find_text"])


def _refuse_taken(row: Barcode, field: str) -> None:
    other = Barcode.objects.filter(key=row.key).select_related("part").first()
    if other and other.part_id == row.part_id:
        raise field_error(field, f"{row.part.number} has this barcode already.", code="barcode-there")
    if other:
        raise _belongs(other.part, field)
    if pack := Package.objects.filter(gtin=row.key).select_related("part").first():
        raise _belongs(pack.part, field, f"stands for a whole {pack} of")
    numbered = Part.objects.filter(Exact(Lower("number"), Lower(Value(row.code)))).exclude(pk=row.part_id).first()
    if numbered:
        raise _belongs(numbered, field, "is the number of")


def _belongs(part: Part, field: str, how: str = "belongs to") -> BadInput:
    return field_error(
        field,
        f"This barcode {how} {part.number} {part.name}{away(part)}. A code names one part only: scan the right package, or "
        "take it away there first.",
        code="barcode-taken",
    )
