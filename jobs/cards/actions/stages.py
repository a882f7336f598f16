"""The stages of a card: which there are, in what order, whose they are, and their gates."""

from __future__ import annotations

from collections.abc import Collection
from decimal import Decimal
from typing import Any

from jobs.plans.models import DIAGNOSIS_KINDS, PlanGate, StageKind
from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from ..models import Gate, JobCard, Stage
from ..state import out_of_order
from .ending import work_ends
from .locking import called, capital, lock_card, lock_gate, lock_stage, must_be_current, must_be_open

MOST_HOURS = Decimal(1000)
_TEXTS = {"name": 120, "done_by": 40, "instructions": 10_000, "cautions": 10_000}
_EDITABLE = {*_TEXTS, "kind", "standard_hours", "chargeable", "needs_go_ahead", "mechanic_id"}


@writes
def add_stage(
    card_id: int,
    *,
    by: Person,
    name: str,
    kind: str,
    standard_hours: Decimal = Decimal(0),
    chargeable: bool = True,
    needs_go_ahead: bool | None = None,
    done_by: str = "",
    instructions: str = "",
    cautions: str = "",
    mechanic_id: int | None = None,
    after_ids: Collection[int] = (),
    position: int | None = None,
) -> Stage:
    """Add a stage to an open card, last or at `position` (from 1); the others move down.

    `needs_go_ahead` None: stripping, cleaning and measuring don't, everything else does.
    Raises NotFound, BadInput, Refused.
    """
    card = lock_card(card_id)
    must_be_open(card)
    values = _checked(
        {
            "name": name, "kind": kind, "standard_hours": standard_hours, "chargeable": chargeable,
            "done_by": done_by, "instructions": instructions, "cautions": cautions, "mechanic_id": mechanic_id,
            "needs_go_ahead": kind not in DIAGNOSIS_KINDS if needs_go_ahead is None else needs_go_ahead,
        }
    )  # fmt: skip
    others = _current(card)
    stage = Stage(card=card, position=len(others) + 1, **values)
    stage.save(force_insert=True)
    _set_after(stage, after_ids, others)
    _arrange([*others, stage], stage, position or len(others) + 1)
    record(by, "stage.added", stage, root=card, stage=called(stage))
    return stage


@writes
def edit_stage(stage_id: int, expect: int | None, *, by: Person, **values: Any) -> Stage:
    """Change a stage at version `expect`: name, kind, standard_hours, chargeable, needs_go_ahead, done_by, instructions,
    cautions, mechanic_id, after_ids. A finished stage is signed work and stays as it is.

    Raises NotFound, Stale, BadInput, Refused.
    """
    stage = lock_stage(stage_id, expect)
    must_be_open(stage.card)
    must_be_current(stage)
    after_ids = values.pop("after_ids", None)
    values = _checked(values)
    before = {name: getattr(stage, name) for name in values}
    if after_ids is not None:
        before["after"] = sorted(stage.after.values_list("position", flat=True))
        if set(after_ids) != set(stage.after.values_list("pk", flat=True)):
            _set_after(stage, after_ids, _current(stage.card))
    save_next(stage, **values)
    now = dict(values)
    if after_ids is not None:
        now["after"] = sorted(stage.after.values_list("position", flat=True))
    record(by, "stage.changed", stage, root=stage.card, stage=called(stage), changed=changes(before, now))
    return stage


@writes
def set_after(stage_id: int, after_ids: Collection[int], *, by: Person) -> Stage:
    """Name the stages that must be finished before this one starts. Raises NotFound, BadInput, Refused."""
    return edit_stage(stage_id, None, by=by, after_ids=after_ids)


@writes
def assign(stage_id: int, mechanic_id: int | None, *, by: Person) -> Stage:
    """Give a stage to a mechanic, or to nobody. Raises NotFound, BadInput, Refused."""
    return edit_stage(stage_id, None, by=by, mechanic_id=mechanic_id)


@writes
def move_stage(stage_id: int, position: int, *, by: Person) -> Stage:
    """Put a stage at `position` (from 1; too far means last). Raises Refused when it would stand before one it must
    come after."""
    stage = lock_stage(stage_id)
    must_be_open(stage.card)
    if stage.removed_at:
        must_be_current(stage)
    if position < 1:
        raise field_error("position", "Positions count from 1.")
    old = called(stage)
    _arrange(_current(stage.card), stage, position)
    save_next(stage)
    record(by, "stage.moved", stage, root=stage.card, stage=old, position=stage.position)
    return stage


@writes
def remove_stage(stage_id: int, expect: int | None = None, *, by: Person, reason: str = "") -> Stage:
    """Take a stage off the card; stages that came after it no longer wait for it. Raises Refused when it was started.

    Parts and hours on it are looked at by the rooms above, whose actions call this one.
    """
    reason = clean_line(reason, field="reason")
    stage = lock_stage(stage_id, expect)
    must_be_open(stage.card)
    if stage.started_at or stage.removed_at:
        must_be_current(stage)
        raise Refused(
            f"{capital(called(stage))} was started, so it stays on the card. Finish it, or put it on hold.",
            code="stage-started",
        )
    name = called(stage)
    save_next(stage, removed_at=clock.now())
    others = _current(stage.card)
    _renumber(others)
    record(by, "stage.removed", stage, root=stage.card, stage=name, reason=reason)
    work_ends([stage], by)
    return stage


@writes
def add_gate(stage_id: int, *, by: Person, text: str, when: str = PlanGate.When.FINISH) -> Gate:
    """Add a condition to be signed before the stage starts or finishes. Raises NotFound, BadInput, Refused."""
    text = clean_line(text, field="text", required=True)
    if when not in PlanGate.When.values:
        raise field_error("when", "A gate is signed before the stage starts or before it finishes.")
    stage = lock_stage(stage_id)
    must_be_open(stage.card)
    must_be_current(stage)
    if when == PlanGate.When.START and stage.started_at:
        raise field_error("when", f"{capital(called(stage))} has started. Make it a gate before it finishes.")
    gate = Gate.objects.create(stage=stage, position=stage.gates.count() + 1, text=text, when=when)
    record(by, "gate.added", gate, root=stage.card, stage=called(stage), gate=text, when=when)
    return gate


@writes
def remove_gate(gate_id: int, *, by: Person) -> Gate:
    """Take an unsigned gate away. Raises Refused when it was signed."""
    gate = lock_gate(gate_id)
    must_be_open(gate.stage.card)
    if gate.signed_at:
        raise Refused(f"“{gate.text}” was signed by {gate.signed_by}. A signature stays.", code="gate-signed")
    gate.removed_at = clock.now()
    gate.save(update_fields=["removed_at"])
    record(by, "gate.removed", gate, root=gate.stage.card, stage=called(gate.stage), gate=gate.text)
    return gate


def _current(card: JobCard) -> list[Stage]:
    return list(card.stages.filter(removed_at__isnull=True).prefetch_related("after"))


def _checked(values: dict[str, Any]) -> dict[str, Any]:
    unknown = set(values) - _EDITABLE
    if unknown:
        raise TypeError(f"a stage has no {sorted(unknown)} to change")
    for name, longest in _TEXTS.items():
        if name in values:
            clean = clean_line if longest < 200 else clean_text
            values[name] = clean(values[name], field=name, required=name == "name", max_length=longest)
    if "kind" in values and values["kind"] not in StageKind.values:
        raise field_error("kind", "Choose one of the kinds: " + ", ".join(StageKind.values) + ".")
    if "standard_hours" in values:
        hours = values["standard_hours"]
        if not isinstance(hours, Decimal) or not hours.is_finite() or not 0 <= hours <= MOST_HOURS:
            raise field_error("standard_hours", f"Give the hours as a number from 0 to {MOST_HOURS}.")
        if hours != hours.quantize(Decimal("0.01")):
            raise field_error("standard_hours", "Hours have at most two decimals: 15 minutes are 0.25.")
    if values.get("mechanic_id") is not None:
        person = Person.objects.filter(pk=values["mechanic_id"], is_active=True).first()
        if person is None or "stages.work" not in person.rights:
            raise field_error("mechanic_id", "There is no such mechanic here.")
    return values


def _set_after(stage: Stage, after_ids: Collection[int], others: list[Stage]) -> None:
    if stage.started_at:
        raise Refused(f"{capital(called(stage))} has started; what it waited for no longer matters.")
    by_id = {s.pk: s for s in others}
    wanted = set(after_ids)
    if stage.pk in wanted:
        raise field_error("after_ids", "A stage can't come after itself.")
    if not wanted <= set(by_id):
        raise field_error("after_ids", "Name stages of the same card only.")
    late = [by_id[pk] for pk in wanted if by_id[pk].position >= stage.position]
    if late:
        names = ", ".join(called(s) for s in sorted(late, key=lambda s: s.position))
        raise field_error("after_ids", f"{capital(names)} stands below. Move it up first, or leave it out.")
    stage.after.set(wanted)


def _arrange(stages: list[Stage], moved: Stage, position: int) -> None:
    """Put `moved` at `position` among `stages` and number them anew."""
    row = [s for s in stages if s.pk != moved.pk]
    row.insert(min(position, len(stages)) - 1, moved)
    positions = {s.pk: n for n, s in enumerate(row, start=1)}
    pairs = Stage.after.through.objects.filter(from_stage__in=positions, to_stage__in=positions)
    after: dict[int, list[int]] = {}
    for stage_id, predecessor_id in pairs.values_list("from_stage_id", "to_stage_id"):
        after.setdefault(stage_id, []).append(predecessor_id)
    wrong = out_of_order(positions, after)
    if wrong:
        names = {s.pk: called(s) for s in row}
        raise BadInput(
            f"{capital(names[wrong[0]])} must come after {names[wrong[1]]}. Change what it waits for, or put it lower.",
            code="order",
            fields={"position": [f"It must stay below {names[wrong[1]]}."]},
        )
    _renumber(row)
    moved.position = positions[moved.pk]


def _renumber(row: list[Stage]) -> None:
    changed = []
    for n, stage in enumerate(row, start=1):
        if stage.position != n:
            stage.position = n
            changed.append(stage)
    Stage.objects.bulk_update(changed, ["position"])
