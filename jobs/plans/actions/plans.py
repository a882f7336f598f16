"""Work plans as a whole: add, edit, copy, put away."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.db import IntegrityError

from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import queries
from ..drafts import CAUTION, MOST_STAGES, StageDraft, check_plan
from ..models import WorkPlan
from .contents import put_gates, put_parts
from .holding import hold, known, something
from .stages import put_stage, set_order

FIELDS = frozenset({"code", "name", "machine_kind", "maker", "model", "description", "cautions"})


@writes
def add_plan(*, by: Person, stages: Sequence[StageDraft] = (), **values: Any) -> WorkPlan:
    """Add a plan, at once with all its `stages` if given (their `after` are positions from 1).

    Without `cautions` it says that the maker's manual rules. Raises BadInput; a fault in a stage names it by its place.
    """
    clean = {"cautions": CAUTION} | check_plan(known(values, FIELDS))
    for name in ("code", "name"):
        if name not in clean:
            raise field_error(name, "Fill this in.")
    plan = WorkPlan(**clean)
    _refuse_same_code(plan.code)
    _save(plan.code, lambda: plan.save(force_insert=True))
    _fill(plan, stages)
    record(by, "plan.added", plan, code=plan.code, name=plan.name, stages=len(stages))
    return plan


@writes
def edit_plan(pk: int, expect: int | None, *, by: Person, **values: Any) -> WorkPlan:
    """Change the head of a plan at version `expect`. Cards made from it stay as they are."""
    something(values)
    plan = hold(pk, expect)
    clean = check_plan(known(values, FIELDS))
    before = {name: getattr(plan, name) for name in clean}
    if "code" in clean:
        _refuse_same_code(clean["code"], but=pk)
    _save(clean.get("code", plan.code), lambda: save_next(plan, **clean))
    record(by, "plan.changed", plan, changed=changes(before, clean))
    return plan


@writes
def copy_plan(pk: int, *, by: Person, code: str, name: str) -> WorkPlan:
    """A new plan like this one, with a code and name of its own. Raises NotFound, BadInput."""
    claim(WorkPlan, pk, None)  # so that it isn't copied half-way through a change
    source = queries.blueprint(pk)
    head = WorkPlan.objects.values("machine_kind", "maker", "model", "description").get(pk=pk)
    plan = WorkPlan(**check_plan({"code": code, "name": name}), cautions=source.cautions, **head)
    _refuse_same_code(plan.code)
    _save(plan.code, lambda: plan.save(force_insert=True))
    _fill(plan, source.stages, copied=True)
    record(by, "plan.added", plan, code=plan.code, name=plan.name, stages=len(source.stages), copy_of=pk)
    return plan


@writes
def archive_plan(pk: int, expect: int | None, *, by: Person) -> WorkPlan:
    """Put a plan away: no longer offered for cards. Raises Refused when away already."""
    plan = hold(pk, expect)
    save_next(plan, archived_at=clock.now())
    record(by, "plan.archived", plan)
    return plan


@writes
def restore_plan(pk: int, expect: int | None = None, *, by: Person) -> WorkPlan:
    """Take an archived plan back. Raises Refused when not archived."""
    plan = claim(WorkPlan, pk, expect)
    if plan.archived_at is None:
        raise Refused(f"The plan {plan.code} is not archived.")
    save_next(plan, archived_at=None)
    record(by, "plan.restored", plan)
    return plan


def _fill(plan: WorkPlan, drafts: Sequence[StageDraft], *, copied: bool = False) -> None:
    """`copied`: parts archived since then come along, as they stand in the plan copied from."""
    if len(drafts) > MOST_STAGES:
        raise field_error("stages", f"A plan has at most {MOST_STAGES} stages, this has {len(drafts)}. Make two plans.")
    rows = []
    for n, draft in enumerate(drafts, 1):
        try:
            row = put_stage(
                plan, n, name=draft.name, kind=draft.kind, standard_hours=draft.standard_hours, done_by=draft.done_by,
                chargeable=draft.chargeable, needs_go_ahead=draft.needs_go_ahead, instructions=draft.instructions,
                cautions=draft.cautions,
            )  # fmt: skip
            put_gates(row, draft.gates)
            put_parts(row, draft.parts, archived_too=copied)
        except BadInput as error:
            fields = {f"stages.{n - 1}.{name}": texts for name, texts in error.fields.items()}
            raise BadInput(f"Stage {n}: {error.message}", code=error.code, fields=fields) from error
        rows.append(row)
    for n, draft in enumerate(drafts, 1):
        if wrong := [p for p in draft.after if not 1 <= p <= len(rows)]:
            text = f"There is no stage {wrong[0]} to wait for; stages are counted from 1 to {len(rows)}."
            raise BadInput(f"Stage {n}: {text}", fields={f"stages.{n - 1}.after": [text]})
    if rows:
        set_order(
            rows, {row.pk: [rows[p - 1].pk for p in draft.after] for row, draft in zip(rows, drafts, strict=True)}
        )


def _refuse_same_code(code: str, *, but: int = 0) -> None:
    if WorkPlan.objects.filter(code=code).exclude(pk=but).exists():
        raise _taken(code)


def _save(code: str, save: Callable[[], None]) -> None:
    try:
        save()
    except IntegrityError as error:  # two at once with one code: the constraint decides
        raise _taken(code) from error


def _taken(code: str) -> BadInput:
    return field_error("code", f"There is already a plan with the code {code}. Give another.")
