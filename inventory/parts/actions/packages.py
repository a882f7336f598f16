"""Packages a part comes in."""

from __future__ import annotations

from decimal import Decimal

from django.db import IntegrityError

from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, field_error
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..barcodes import read
from ..models import Barcode, Package, Part
from ..packing import KINDS, content_in


@writes
def add_package(part_id: int, *, by: Person, kind: str, content: Decimal, unit: str = "", gtin: str = "") -> Package:
    """A part comes in packages of `content`, given in the part's unit or another `unit` of the same dimension.

    `kind`: UN/ECE Recommendation 21 with an X in front, XBX box; `gtin`: the number printed on the package itself, which means
    all of it wherever goods are counted by scan. From now on the part's unit stays. Raises NotFound, BadInput (unknown kind, a
    content that is no exact number of the part's unit, a package that is there, a number that means something else already).
    """
    if kind not in KINDS:
        raise field_error("kind", "Choose one of: " + ", ".join(KINDS) + ".", code="unknown-kind")
    part = claim(Part, part_id, None)
    exact = content_in(as_decimal(content, "content"), unit or part.unit, part.unit)
    if part.packages.filter(kind=kind, content=exact).exists():
        raise field_error("content", f"{part.number} has this package already.", code="package-there")
    row = Package(part=part, kind=kind, content=exact, gtin=_gtin(gtin), added_at=clock.now())
    try:
        row.save(force_insert=True)
    except IntegrityError as error:  # two adding it at once pass the check together; the constraint lets one in
        raise field_error("gtin", "Somebody else just gave this number to a package.", code="barcode-taken") from error
    if not part.unit_fixed:
        part.unit_fixed = True
        part.save(update_fields=["unit_fixed"])
    record(by, "part.package-added", row, root=part, package=str(row), gtin=row.gtin)
    return row


def _gtin(text: str) -> str:
    """With 14 digits; "" for none. Raises BadInput at `gtin`."""
    if not text.strip():
        return ""
    found = read(text, field="gtin")
    if not found.is_gtin:
        raise field_error(
            "gtin", "This is no GTIN: it has 8, 12, 13 or 14 digits, as printed below the bars.", code="bad-gtin"
        )
    if other := Package.objects.filter(gtin=found.key).select_related("part").first():
        raise field_error("gtin", f"This number is that of the {other} of {other.part}.", code="barcode-taken")
    if piece := Barcode.objects.filter(key=found.key).select_related("part").first():
        raise field_error(
            "gtin", f"This number means one {piece.part}. Scan the code on the package; if it has none of its own, leave this "
            "empty.", code="barcode-taken",
        )  # fmt: skip
    return found.key


@writes
def remove_package(package_id: int, *, by: Person) -> Part:
    """The part no longer comes in this package; what was typed in it stays. Raises NotFound."""
    row = Package.objects.select_for_update(of=("self",)).select_related("part").filter(pk=package_id).first()
    if row is None:
        raise NotFound("There is no such package any more.")
    record(by, "part.package-removed", row, root=row.part, package=str(row))
    row.delete()
    return row.part
