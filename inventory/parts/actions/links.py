"""What stands for what: replacements of a part, and alternatives to it."""

from __future__ import annotations

from datetime import date

from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..chains import way
from ..holding import hold, replacements
from ..models import Alternative, Part, Replacement


@writes
def replace_part(
    old_part_id: int,
    *,
    by: Person,
    new_part_id: int,
    either_way: bool = False,
    since: date | None = None,
    note: str = "",
) -> Replacement:
    """From now on (or `since`) the new part is used instead of the old one; `either_way`: the old one does for it as well.

    Raises NotFound (old), BadInput (an unknown or archived new part, the part itself, a chain that would lead back to where
    it began, naming it), Refused (the old one is replaced already).
    """
    note = clean_line(note, field="note", max_length=200)
    if not Part.objects.filter(pk=new_part_id, archived_at__isnull=True).exists():
        raise field_error("new_part_id", "There is no such part, or it was put away.", code="unknown-part")
    parts, steps = hold({old_part_id, new_part_id}, replacements)
    old, new = parts[old_part_id], parts[new_part_id]
    if old == new:
        raise field_error("new_part_id", f"{old.number} can't replace itself. Choose another part.", code="circle")
    if old_part_id in steps:
        there = parts[steps[old_part_id][0]]
        raise Refused(
            f"{old.number} is replaced by {there.number} already. Take that back first, or let {there.number} be replaced.",
            code="replaced",
        )
    if back := way(new_part_id, old_part_id, steps):
        raise _circle("new_part_id", [old_part_id, *back], parts)
    row = Replacement.objects.create(old=old, new=new, either_way=either_way, since=since or clock.today(), note=note)
    record(by, "part.replaced", row, root=old, old=old.number, new=new.number, either_way=either_way)
    return row


@writes
def undo_replacement(replacement_id: int, *, by: Person) -> Part:
    """The old part stands for itself again. Raises NotFound."""
    row = (
        Replacement.objects.select_for_update(of=("self",))
        .select_related("old", "new")
        .filter(pk=replacement_id)
        .first()
    )
    if row is None:
        raise NotFound("There is no such replacement any more.")
    record(by, "part.replacement-undone", row, root=row.old, old=row.old.number, new=row.new.number)
    row.delete()
    return row.old


@writes
def add_alternative(part_id: int, *, by: Person, other_part_id: int, note: str = "") -> Alternative:
    """Either of two parts does for the other. Raises NotFound, BadInput (an unknown part, the part itself, a pair that is
    there)."""
    note = clean_line(note, field="note", max_length=200)
    rows = Part.objects.select_for_update(of=("self",), no_key=True).filter(pk__in={part_id, other_part_id})
    parts = {p.pk: p for p in rows.order_by("pk")}
    if part_id not in parts:
        raise NotFound("There is no such part.")
    if other_part_id not in parts:
        raise field_error("other_part_id", "There is no such part.", code="unknown-part")
    part, other = parts[part_id], parts[other_part_id]
    if part == other:
        raise field_error("other_part_id", f"{part.number} is no alternative to itself.", code="same-part")
    first, second = sorted((part, other), key=lambda p: p.pk)
    if Alternative.objects.filter(part=first, other=second).exists():
        raise field_error(
            "other_part_id", f"{other.number} is noted as an alternative already.", code="alternative-there"
        )
    row = Alternative.objects.create(part=first, other=second, note=note, added_at=clock.now())
    record(by, "part.alternative-added", row, root=part, other=other.number, note=note)
    return row


@writes
def remove_alternative(alternative_id: int, *, by: Person) -> None:
    """The two no longer stand for each other. Raises NotFound."""
    row = (
        Alternative.objects.select_for_update(of=("self",))
        .select_related("part", "other")
        .filter(pk=alternative_id)
        .first()
    )
    if row is None:
        raise NotFound("There is no such alternative any more.")
    record(by, "part.alternative-removed", row, root=row.part, other=row.other.number)
    row.delete()


def _circle(field: str, found: list[int], parts: dict[int, Part]) -> BadInput:
    named = " → ".join(parts[pk].number for pk in found)
    return field_error(
        field, f"That would go round in a circle: {named}. Take back one of these replacements first.", code="circle"
    )
