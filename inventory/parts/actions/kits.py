"""What is in a kit."""

from __future__ import annotations

from decimal import Decimal

from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.units import unit
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..chains import way
from ..holding import contents, hold
from ..models import KitPart, Part

MOST = 200
MOST_SHARE = Decimal(100_000)


@writes
def put_in_kit(kit_id: int, *, by: Person, part_id: int, quantity: Decimal, share: Decimal | None = None) -> KitPart:
    """`quantity` of a part (in its unit) is in one kit; again for the same part: that is what it is now. `share`: its part of
    the kit's cost, on any scale; None: by sale price.

    Raises NotFound (kit), BadInput (an unknown part, the kit itself, a part that holds the kit, naming how), Refused (a kit
    that isn't counted in whole ones, more than 200 parts).
    """
    if not Part.objects.filter(pk=part_id, archived_at__isnull=True).exists():
        raise field_error("part_id", "There is no such part, or it was put away.", code="unknown-part")
    parts, steps = hold({kit_id, part_id}, contents)
    kit, part = parts[kit_id], parts[part_id]
    if kit == part:
        raise field_error("part_id", f"{kit.number} can't be in itself. Choose another part.", code="kit-in-itself")
    if back := way(part_id, kit_id, steps):
        named = " holds ".join(parts[pk].number for pk in [*back, part_id])
        raise field_error(
            "part_id", f"{kit.number} would be in itself: {named}. Take one of these out first.", code="kit-in-itself"
        )
    if not unit(kit.unit).whole:
        raise Refused(
            f"{kit.number} is counted in {unit(kit.unit).name}; a kit comes in whole ones, such as pieces or sets.",
            code="kit-unit",
        )
    quantity = positive(as_decimal(quantity, "quantity"), part.unit)
    if share is not None and not (share.is_finite() and 0 <= share <= MOST_SHARE and share == round(share, 3)):
        raise field_error(
            "share", "Give a share from 0 to 100,000 with at most 3 decimals, or leave it empty.", code="bad-share"
        )
    row = kit.contents.filter(part=part).first() or KitPart(kit=kit, part=part)
    if row.pk is None and kit.contents.count() >= MOST:
        raise Refused(f"{kit.number} holds {MOST} parts. Make it two kits.", code="too-many-parts")
    row.quantity, row.share = quantity, share
    row.save()
    record(by, "part.put-in-kit", row, root=kit, part=part.number, quantity=plain(quantity))
    return row


@writes
def take_out_of_kit(kit_part_id: int, *, by: Person) -> Part:
    """The kit no longer holds this part. Raises NotFound."""
    found = KitPart.objects.filter(pk=kit_part_id).values_list("kit_id", flat=True).first()
    kit = claim(Part, found, None) if found is not None else None
    row = KitPart.objects.select_related("part").filter(pk=kit_part_id).first()
    if kit is None or row is None:
        raise NotFound("That is in the kit no more.")
    record(by, "part.taken-out-of-kit", row, root=kit, part=row.part.number)
    row.delete()
    return kit
