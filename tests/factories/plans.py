from __future__ import annotations

import itertools
from decimal import Decimal
from typing import Any

from jobs.plans import actions
from jobs.plans.drafts import GateDraft, PartDraft, StageDraft
from jobs.plans.models import PlanStage, WorkPlan
from shop.people.models import Person

from .people import person

_count = itertools.count(1)

TOP_END = (
    StageDraft("Take off head", "strip", Decimal("1.5"), gates=(GateDraft("Ports covered"),)),
    StageDraft("Measure bores", "measure", Decimal("1"), after=(1,)),
    StageDraft("Lap valves", "rework", Decimal("2.5"), after=(1,)),
    StageDraft(
        "Fit head", "assemble", Decimal("2"), after=(2, 3),
        gates=(GateDraft("Joint faces clean and dry", "start"), GateDraft("Head nuts tightened and signed")),
    ),
)  # fmt: skip


def _office() -> Person:
    return person("pim", "Pim Castell", "office")


def plan(*, by: Person | None = None, stages: tuple[StageDraft, ...] = TOP_END, **more: Any) -> WorkPlan:
    """A plan, by default a short top-end rebuild of four stages and with a code of its own."""
    values = {"code": f"TOP-{next(_count):03}", "name": "Top-end rebuild"} | more
    return actions.add_plan(by=by or _office(), stages=stages, **values)


def stage(of: WorkPlan | None = None, *, by: Person | None = None, **more: Any) -> PlanStage:
    """One stage at the end of a plan."""
    values = {"name": f"Stage {next(_count)}", "kind": "assemble"} | more
    return actions.add_stage((of or plan(stages=())).pk, None, by=by or _office(), **values)


def part_line(stage: PlanStage, part: int, quantity: str = "1", *, by: Person | None = None) -> Any:
    return actions.add_part(stage.pk, None, by=by or _office(), part_id=part, quantity=Decimal(quantity))


__all__ = ["TOP_END", "PartDraft", "part_line", "plan", "stage"]
