"""Writes of the learning room. The card's row is the lock."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from jobs.cards.actions.locking import called, capital, lock_stage
from jobs.cards.models import Stage
from jobs.plans import actions as plans
from jobs.plans.models import PlanStage
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from . import queries
from .models import PlanSaid, SetAside


def keep_what_the_plan_said(copied: Mapping[int, Stage], by: Person) -> None:
    """Keep the plan's hours of stages that were just copied onto a card (inside that act), by the plan's stage."""
    PlanSaid.objects.bulk_create(
        PlanSaid(stage=stage, standard_hours=plan.standard_hours, prior_hours=plan.prior_hours or plan.standard_hours)
        for stage in copied.values()
        if (plan := stage.plan_stage) and plan.standard_hours > 0
    )


@writes
def set_aside(stage_id: int, *, by: Person, reason: str) -> SetAside:
    """The hours of this stage no longer count for the standard hours of its plan; they stay on the card.

    Raises NotFound, BadInput (field reason), Refused when it isn't finished or is set aside already.
    """
    reason = clean_line(reason, field="reason", required=True)
    stage = lock_stage(stage_id)
    if stage.finished_at is None:
        raise Refused(f"{capital(called(stage))} isn't finished: it counts only then.", code="not-finished")
    if SetAside.objects.filter(stage=stage, ended_at__isnull=True).exists():
        raise Refused(f"{capital(called(stage))} is set aside already.", code="already-set-aside")
    row = SetAside.objects.create(stage=stage, reason=reason, by=by, at=clock.now())
    record(by, "learning.set-aside", stage, root=stage.card, stage=called(stage), reason=reason)
    return row


@writes
def bring_back(stage_id: int, *, by: Person) -> SetAside:
    """The hours of this stage count again. Raises NotFound, Refused when they do."""
    stage = lock_stage(stage_id)
    row = SetAside.objects.filter(stage=stage, ended_at__isnull=True).first()
    if row is None:
        raise Refused(f"{capital(called(stage))} counts already.", code="not-set-aside")
    row.ended_at, row.ended_by = clock.now(), by
    row.save(update_fields=["ended_at", "ended_by"])
    record(by, "learning.brought-back", stage, root=stage.card, stage=called(stage))
    return row


@writes
def take_likely(plan_stage_id: int, expect: int | None, *, by: Person) -> PlanStage:
    """The likely hours become the standard hours of a plan's stage, rounded to a quarter of an hour.

    `expect`: the plan's version. The jobs are not counted twice: what they are weighed against stays the hours that were typed
    into the plan, so pressing again without a new job changes nothing. Raises NotFound, Stale, Refused when no job was done
    by it or nothing would change.
    """
    stage = PlanStage.objects.filter(pk=plan_stage_id).first()
    if stage is None:
        raise NotFound("There is no such stage of a plan.")
    found = queries.learned([stage])[stage.pk]
    if found is None or not found.jobs:
        raise Refused("No finished job of this stage has hours booked yet.", code="nothing-learnt")
    hours = quarter(found.likely)
    if hours == stage.standard_hours:
        raise Refused("The standard hours are the likely hours already.", code="unchanged")
    return plans.take_hours(plan_stage_id, expect, by=by, hours=hours)


def quarter(hours: Decimal) -> Decimal:
    """To the nearest quarter of an hour, at least one."""
    return max(Decimal("0.25"), (hours * 4).quantize(Decimal(1)) / 4).quantize(Decimal("0.01"))
