"""Gates and parts of a planned stage."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db.models import Max

from inventory.parts.actions import fix_units
from inventory.parts.models import Part
from shop.kernel import quantity as quantities
from shop.kernel.errors import NotFound, field_error
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from ..drafts import MOST_GATES, MOST_PARTS, GateDraft, PartDraft, check_gate
from ..models import PlanGate, PlanPart, PlanStage
from .holding import hold_stage, known, something, touch

FIELDS = frozenset({"text", "when"})


@writes
def add_gate(stage: int, expect: int | None, *, by: Person, **values: Any) -> PlanGate:
    """Add a gate to a stage at the plan's version `expect`. Raises NotFound, Stale, Refused, BadInput."""
    held = hold_stage(stage, expect)
    (gate,) = put_gates(held, [GateDraft(**known(values, FIELDS))])
    touch(held.plan)
    record(by, "plan.gate-added", gate, root=held.plan, stage=held.name, text=gate.text, when=gate.when)
    return gate


@writes
def edit_gate(pk: int, expect: int | None, *, by: Person, **values: Any) -> PlanGate:
    """Change a gate's text or moment."""
    something(values)
    gate = PlanGate.objects.filter(pk=pk).first()
    if gate is None:
        raise NotFound("There is no such gate. Somebody may have taken it out; look at the plan again.")
    gate.stage = hold_stage(gate.stage_id, expect)
    clean = check_gate(known(values, FIELDS))
    before = {name: getattr(gate, name) for name in clean}
    for name, value in clean.items():
        setattr(gate, name, value)
    gate.save(update_fields=[*clean])
    touch(gate.stage.plan)
    record(by, "plan.gate-changed", gate, root=gate.stage.plan, changed=changes(before, clean))
    return gate


@writes
def remove_gate(pk: int, expect: int | None, *, by: Person) -> PlanStage:
    """Take a gate out of the plan."""
    gate = PlanGate.objects.filter(pk=pk).first()
    if gate is None:
        raise NotFound("There is no such gate. Somebody may have taken it out; look at the plan again.")
    stage = hold_stage(gate.stage_id, expect)
    gate.delete()
    touch(stage.plan)
    record(by, "plan.gate-removed", stage, root=stage.plan, stage=stage.name, text=gate.text)
    return stage


@writes
def add_part(stage_id: int, expect: int | None, *, by: Person, part_id: int, quantity: Decimal) -> PlanPart:
    """Add a part with the quantity a job needs, in the part's unit."""
    held = hold_stage(stage_id, expect)
    (row,) = put_parts(held, [PartDraft(part_id, quantity)])
    touch(held.plan)
    record(by, "plan.part-added", row, root=held.plan, stage=held.name, part=row.part.number, quantity=quantity)
    return row


@writes
def edit_part(pk: int, expect: int | None, *, by: Person, quantity: Decimal) -> PlanPart:
    """Change the quantity."""
    row = PlanPart.objects.select_related("part").filter(pk=pk).first()
    if row is None:
        raise NotFound("There is no such line. Somebody may have taken it out; look at the plan again.")
    row.stage = hold_stage(row.stage_id, expect)
    was, row.quantity = row.quantity, quantities.positive(quantity, row.part.unit)
    row.save(update_fields=["quantity"])
    touch(row.stage.plan)
    record(by, "plan.part-changed", row, root=row.stage.plan, part=row.part.number, quantity=[was, row.quantity])
    return row


@writes
def remove_part(pk: int, expect: int | None, *, by: Person) -> PlanStage:
    """Take a part out of the plan."""
    row = PlanPart.objects.select_related("part").filter(pk=pk).first()
    if row is None:
        raise NotFound("There is no such line. Somebody may have taken it out; look at the plan again.")
    stage = hold_stage(row.stage_id, expect)
    row.delete()
    touch(stage.plan)
    record(by, "plan.part-removed", stage, root=stage.plan, part=row.part.number, quantity=row.quantity)
    return stage


def put_gates(stage: PlanStage, gates: Sequence[GateDraft]) -> list[PlanGate]:
    """Insert gates behind those there are (inside an action that holds the plan)."""
    if not gates:
        return []
    facts = stage.gates.aggregate(last=Max("position"))
    last = facts["last"] or 0
    if stage.gates.count() + len(gates) > MOST_GATES:
        raise field_error("text", f"A stage has at most {MOST_GATES} gates. Split the stage in two.")
    clean = [check_gate({"text": g.text, "when": g.when}) for g in gates]
    return PlanGate.objects.bulk_create([PlanGate(stage=stage, position=last + n, **c) for n, c in enumerate(clean, 1)])


def put_parts(stage: PlanStage, parts: Sequence[PartDraft], *, archived_too: bool = False) -> list[PlanPart]:
    """Insert parts (inside an action that holds the plan)."""
    if not parts:
        return []
    known_parts = Part.objects.in_bulk([p.part_id for p in parts])
    there = set(stage.parts.values_list("part_id", flat=True))
    if len(there) + len(parts) > MOST_PARTS:
        raise field_error("part_id", f"A stage has at most {MOST_PARTS} parts. Split the stage in two.")
    rows = []
    for draft in parts:
        part = known_parts.get(draft.part_id)
        if part is None:
            raise field_error("part_id", "There is no such part in the catalogue. Add it there first.")
        if part.archived_at is not None and not archived_too:
            raise field_error("part_id", f"{part.number} is archived. Take the part that replaces it.")
        if part.pk in there:
            raise field_error("part_id", f"{part.number} is listed for this stage already. Change its quantity.")
        there.add(part.pk)
        fix_units([part.pk])  # the quantity below counts in it
        rows.append(PlanPart(stage=stage, part=part, quantity=quantities.positive(draft.quantity, part.unit)))
    return PlanPart.objects.bulk_create(rows)
