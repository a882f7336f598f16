"""Stages of a plan: add, edit, place, set what they wait for, take out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db.models import F

from shop.kernel.errors import field_error
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import order, queries
from ..drafts import MOST_STAGES, check_stage
from ..models import DIAGNOSIS_KINDS, PlanStage, WorkPlan
from .holding import hold, hold_stage, known, something, touch

FIELDS = frozenset(
    {"name", "kind", "standard_hours", "done_by", "chargeable", "needs_go_ahead", "instructions", "cautions"}
)
_ASIDE = 10_000  # where positions wait while they change places: each is unique at every moment


@writes
def add_stage(
    plan_id: int,
    expect: int | None,
    *,
    by: Person,
    position: int | None = None,
    after_ids: Sequence[int] = (),
    **values: Any,
) -> PlanStage:
    """Add a stage at `position` (counted from 1; None: at the end), after the stages `after_ids`.

    `needs_go_ahead` None or left out: as usual for its kind. Raises NotFound, Stale, Refused, BadInput.
    """
    held = hold(plan_id, expect)
    rows = list(queries.stages(plan_id=plan_id))
    if len(rows) >= MOST_STAGES:
        raise field_error(
            "plan_id", f"A plan has at most {MOST_STAGES} stages. Make a second plan; a card can use both."
        )
    stage = put_stage(held, len(rows) + 1, **values)
    _place([*rows, stage], stage, position)
    _wait_for(stage, after_ids)
    touch(held)
    record(by, "plan.stage-added", stage, root=held, name=stage.name, position=stage.position)
    return stage


@writes
def edit_stage(
    pk: int, expect: int | None, *, by: Person, position: int | None = None, after_ids: Sequence[int] | None = None,
    **values: Any,
) -> PlanStage:  # fmt: skip
    """Change a stage at the plan's version `expect`; what is None or left out stays as it is.

    Other standard hours than before are typed hours: they are what the plan says of this stage by itself (`prior_hours`).
    """
    stage = hold_stage(pk, expect)
    values = {k: v for k, v in values.items() if v is not None}
    something(values | {k: v for k, v in (("position", position), ("after", after_ids)) if v is not None})
    clean = check_stage(known(values, FIELDS))
    if clean.get("standard_hours", stage.standard_hours) != stage.standard_hours:
        clean["prior_hours"] = clean["standard_hours"]
    before = {name: getattr(stage, name) for name in clean} | {"position": stage.position, "after": _ids(stage)}
    for name, value in clean.items():
        setattr(stage, name, value)
    if clean:
        stage.save(update_fields=[*clean])
    if position is not None:
        _place(list(queries.stages(plan_id=stage.plan_id)), stage, position)
    if after_ids is not None:
        _wait_for(stage, after_ids)
    touch(stage.plan)
    now = clean | {"position": stage.position, "after": _ids(stage)}
    record(by, "plan.stage-changed", stage, root=stage.plan, changed=changes(before, now))
    return stage


@writes
def take_hours(pk: int, expect: int | None, *, by: Person, hours: Decimal) -> PlanStage:
    """Make hours that jobs have shown the standard hours, at the plan's version `expect`. What was typed (`prior_hours`) stays:
    those jobs are weighed against it, and not against a figure that holds them already. Raises NotFound, Stale, Refused,
    BadInput (standard_hours)."""
    stage = hold_stage(pk, expect)
    hours = check_stage({"standard_hours": hours})["standard_hours"]
    before = {"standard_hours": stage.standard_hours}
    stage.standard_hours = hours
    stage.save(update_fields=["standard_hours"])
    touch(stage.plan)
    now = {"standard_hours": hours}
    record(by, "plan.stage-changed", stage, root=stage.plan, changed=changes(before, now))
    return stage


@writes
def move_stage(pk: int, expect: int | None, *, by: Person, position: int) -> PlanStage:
    """Place a stage at `position`; the others close up. What waits for what stays."""
    stage = hold_stage(pk, expect)
    was = stage.position
    _place(list(queries.stages(plan_id=stage.plan_id)), stage, position)
    touch(stage.plan)
    record(by, "plan.stage-moved", stage, root=stage.plan, position=[was, stage.position])
    return stage


@writes
def set_after(pk: int, expect: int | None, *, by: Person, after_ids: Sequence[int]) -> PlanStage:
    """Say which stages of the same plan (ids) come before this one. Raises BadInput for a circle, naming it."""
    stage = hold_stage(pk, expect)
    was = _ids(stage)
    _wait_for(stage, after_ids)
    touch(stage.plan)
    record(by, "plan.stage-order-set", stage, root=stage.plan, after=[was, _ids(stage)])
    return stage


@writes
def remove_stage(pk: int, expect: int | None, *, by: Person) -> WorkPlan:
    """Take a stage out of the plan, with its gates and parts. What waited for it waits for what it waited for."""
    stage = hold_stage(pk, expect)
    before = list(stage.after.all())
    for later in stage.before.all():
        later.after.add(*before)
    name, position = stage.name, stage.position
    gates, parts = stage.gates.count(), stage.parts.count()
    stage.delete()
    _number(list(queries.stages(plan_id=stage.plan_id)))
    touch(stage.plan)
    record(by, "plan.stage-removed", stage.plan, name=name, position=position, gates=gates, parts=parts)
    return stage.plan


def put_stage(plan: WorkPlan, position: int, *, needs_go_ahead: bool | None = None, **values: Any) -> PlanStage:
    """Insert a stage (inside an action that holds the plan). Its hours are what the plan says by itself: no job counts for it
    yet, also where it is copied from a stage whose hours came from jobs."""
    clean = check_stage(known(values, FIELDS))
    for name in ("name", "kind"):
        if name not in clean:
            raise field_error(name, "Fill this in.")
    if needs_go_ahead is None:
        needs_go_ahead = clean["kind"] not in DIAGNOSIS_KINDS
    clean["prior_hours"] = clean.get("standard_hours", 0)
    return PlanStage.objects.create(plan=plan, position=position, needs_go_ahead=needs_go_ahead, **clean)


def set_order(rows: Sequence[PlanStage], after: Mapping[int, Sequence[int]]) -> None:
    """Set what freshly put stages wait for, in one insert. Raises BadInput for a circle."""
    order.in_order([order.Step(r.pk, r.name, r.standard_hours, frozenset(after[r.pk])) for r in rows])
    link = PlanStage.after.through
    links = [link(from_planstage_id=pk, to_planstage_id=p) for pk, before in after.items() for p in set(before)]
    link.objects.bulk_create(links)


def _ids(stage: PlanStage) -> list[int]:
    return sorted(stage.after.values_list("pk", flat=True))


def _wait_for(stage: PlanStage, after: Sequence[int]) -> None:
    rows = list(queries.stages(plan_id=stage.plan_id))
    wanted = frozenset(after)
    if wanted - {r.pk for r in rows}:
        raise field_error("after_ids", "A stage can only wait for stages of the same plan. Look at the plan again.")
    steps = [order.Step(s.key, s.name, s.hours, wanted) if s.key == stage.pk else s for s in queries.steps(rows)]
    order.in_order(steps, field="after_ids")
    stage.after.set(wanted)


def _place(rows: list[PlanStage], stage: PlanStage, position: int | None) -> None:
    """Put `stage` among `rows` (in order, itself included) and number them from 1."""
    if position is None:
        return
    if not 1 <= position <= len(rows):
        raise field_error("position", f"Give a place from 1 to {len(rows)}.")
    others = [r for r in rows if r.pk != stage.pk]
    others.insert(position - 1, stage)
    _number(others)


def _number(rows: list[PlanStage]) -> None:
    changed = [(n, row) for n, row in enumerate(rows, 1) if row.position != n]
    if not changed:
        return
    PlanStage.objects.filter(pk__in=[row.pk for _, row in changed]).update(position=F("position") + _ASIDE)
    for n, row in changed:
        row.position = n
    PlanStage.objects.bulk_update([row for _, row in changed], ["position"])
