"""Packages a part comes in."""

from __future__ import annotations

from decimal import Decimal

from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, field_error
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import Package, Part
from ..packing import KINDS, content_in


@writes
def add_package(part_id: int, *, by: Person, kind: str, content: Decimal, unit: str = "") -> Package:
    """A part comes in packages of `content`, given in the part's unit or another `unit` of the same dimension.

    `kind`: UN/ECE Recommendation 21 with an X in front, XBX box. From now on the part's unit stays. Raises NotFound, BadInput
    (unknown kind, a content that is no exact number of the part's unit, a package that is there).
    """
    if kind not in KINDS:
        raise field_error("kind", "Choose one of: " + ", ".join(KINDS) + ".", code="unknown-kind")
    part = claim(Part, part_id, None)
    exact = content_in(as_decimal(content, "content"), unit or part.unit, part.unit)
    if part.packages.filter(kind=kind, content=exact).exists():
        raise field_error("content", f"{part.number} has this package already.", code="package-there")
    row = Package.objects.create(part=part, kind=kind, content=exact, added_at=clock.now())
    if not part.unit_fixed:
        part.unit_fixed = True
        part.save(update_fields=["unit_fixed"])
    record(by, "part.package-added", row, root=part, package=str(row))
    return row


@writes
def remove_package(package_id: int, *, by: Person) -> Part:
    """The part no longer comes in this package; what was typed in it stays. Raises NotFound."""
    row = Package.objects.select_for_update(of=("self",)).select_related("part").filter(pk=package_id).first()
    if row is None:
        raise NotFound("There is no such package any more.")
    record(by, "part.package-removed", row, root=row.part, package=str(row))
    row.delete()
    return row.part
