"""stages/ and plan-stages/ with what the hours say of them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from jobs.cards import api as cards
from jobs.cards import queries as card_queries
from jobs.plans import api as plans
from jobs.plans import queries as plan_queries
from jobs.timebook import api as timebook
from shop.api.fields import Id, Int, Number, Out
from shop.api.kit import reads, verb

from . import actions, queries


class SeenOut(Out):
    card_id = Id()
    stage_id = Id()
    card_number = serializers.CharField(source="label")
    standard = Number(places=2)
    booked = Number(places=4)
    factor = Number(places=2, help_text="Booked by standard hours.")
    left_out = serializers.CharField(help_text="Why it doesn't count; empty: it does.")


class PlanStageHoursOut(Out):
    id = Id(source="stage.pk")
    standard = Number(places=2, source="stage.standard_hours", help_text="As the plan says now.")
    prior = Number(
        places=2, source="stage.prior_hours",
        help_text="As a person typed them: what the jobs are weighed against. The standard hours may have been taken from jobs.",
    )  # fmt: skip
    likely = Number(
        places=2, source="learned.likely", default=None, allow_null=True,
        help_text="P50: half of the jobs to come end below. null: no standard hours.",
    )  # fmt: skip
    careful = Number(
        places=2, source="learned.careful", default=None, allow_null=True, help_text="P80: four of five jobs end below."
    )
    jobs = Int(source="learned.jobs", default=0, help_text="How many of our own count.")
    weight = Number(
        places=2,
        source="learned.weight",
        default=None,
        allow_null=True,
        help_text="0 to 1: what they count for; the hours typed for the rest.",
    )
    seen = SeenOut(many=True)


class PlanStages(plans.Stages):
    """Stages of plans, with what they really take."""

    @reads("time.read", path="hours", out=PlanStageHoursOut)
    def hours(self, request: Any, pk: int) -> Any:
        return queries.plan_stage(pk)

    @verb("plans.edit", path="take-likely")
    def take_likely(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.take_likely(pk, None, by=request.user)
        return plan_queries.stage(pk)


class Stages(timebook.Stages):
    """Stages, with whether their hours count for the standard."""

    @verb("time.edit", path="set-aside", body=cards.Reason)
    def set_aside(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.set_aside(pk, by=request.user, **body)
        return card_queries.stage(pk)

    @verb("time.edit", path="bring-back")
    def bring_back(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.bring_back(pk, by=request.user)
        return card_queries.stage(pk)


def register(router: Any) -> None:
    router.register("plan-stages", PlanStages, basename="plan-stages")
    router.register("stages", Stages, basename="stages")
