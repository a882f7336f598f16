"""The one lock of the room: whatever changes a plan or what is in it holds the plan's row."""

from __future__ import annotations

from typing import Any

from shop.kernel.errors import BadInput, NotFound, Refused
from shop.kernel.versions import claim, save_next

from ..models import PlanStage, WorkPlan


def hold(pk: int, expect: int | None) -> WorkPlan:
    """Lock a plan to change it. Raises NotFound, Stale, Refused (archived)."""
    plan = claim(WorkPlan, pk, expect)
    if plan.archived_at is not None:
        raise Refused(f"The plan {plan.code} is archived. Take it back before changing it.")
    return plan


def hold_stage(pk: int, expect: int | None) -> PlanStage:
    """Lock the plan of a stage at the plan's version `expect`; `stage.plan` is the locked row."""
    plan_id = PlanStage.objects.filter(pk=pk).values_list("plan_id", flat=True).first()
    if plan_id is None:
        raise NotFound("There is no such stage. Somebody may have taken it out; look at the plan again.")
    plan = hold(plan_id, expect)
    stage = PlanStage.objects.filter(pk=pk).first()
    if stage is None:  # taken out between the two lines above
        raise NotFound("Somebody took this stage out just now. Look at the plan again.")
    stage.plan = plan
    return stage


def touch(plan: WorkPlan) -> None:
    """Raise the plan's version: something in it changed."""
    save_next(plan)


def known(values: dict[str, Any], fields: frozenset[str]) -> dict[str, Any]:
    if unknown := values.keys() - fields:
        raise TypeError(f"no such field: {', '.join(sorted(unknown))}")
    return values


def something(values: dict[str, Any]) -> None:
    if not values:
        raise BadInput("Send at least one field to change.")
