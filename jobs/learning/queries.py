"""Reads of the learning room: hours booked against standard hours, by stage of a plan."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce
from operator import or_

from django.db.models import OuterRef, Q, QuerySet, Subquery

from jobs.cards.models import JobCard, Stage
from jobs.plans.models import PlanStage
from jobs.timebook import queries as timebook

from . import hours
from .hours import Learned, Seen
from .models import PlanSaid, SetAside

OFFERED = 300  # newest times a stage stood on a card, for what became of it
NEWEST = 60  # jobs that count for a stage; older ones were done in another shop
CARDS = 200  # newest cards that tell how far stages run long together
ZERO = Decimal(0)


def seen(plan_stage_ids: Iterable[int]) -> dict[int, list[Seen]]:
    """Finished stages with hours booked by the plan's stage they came from, newest first, in four queries."""
    wanted = set(plan_stage_ids)
    done = Stage.objects.filter(finished_at__isnull=False, removed_at__isnull=True, standard_hours__gt=0)
    young = _newest(done, wanted, "finished_at", NEWEST)
    number = JobCard.objects.filter(pk=OuterRef("card_id")).values("number")  # a join would tempt SQLite to scan cards
    rows = list(young.annotate(number=Subquery(number)).order_by("-finished_at", "-id"))
    booked = timebook.hours_by_stage(rows)
    aside = _set_aside(rows)
    found: dict[int, list[Seen]] = {pk: [] for pk in wanted}
    for row in rows:
        spent = booked[row.pk].booked
        if spent > 0:
            found[row.plan_stage_id or 0].append(
                Seen(row.card_id, row.pk, row.number, row.standard_hours, spent, aside.get(row.pk, ""))
            )
    return found


def _newest(rows: QuerySet[Stage], wanted: set[int], by: str, most: int) -> QuerySet[Stage]:
    """Of `rows`, for each of these stages of plans, the `most` with the highest `by`: read from that end of an index, so
    that a long history costs nothing."""
    of_one = rows.filter(plan_stage=OuterRef("pk")).order_by(f"-{by}").values(by)
    last = PlanStage.objects.filter(pk__in=wanted).annotate(at=Subquery(of_one[most - 1 : most]))
    each = [Q(plan_stage=pk) if at is None else Q(("plan_stage", pk), (f"{by}__gte", at))
            for pk, at in last.values_list("pk", "at")]  # fmt: skip
    return rows.filter(reduce(or_, each)) if each else rows.none()


def _set_aside(stages: Iterable[Stage]) -> dict[int, str]:
    """Why, by the stages that don't count."""
    return dict(SetAside.objects.filter(stage__in=stages, ended_at__isnull=True).values_list("stage_id", "reason"))


def learned(stages: Iterable[PlanStage]) -> dict[int, Learned | None]:
    """What each of these stages of plans takes; None for one without standard hours."""
    listed = list(stages)
    by_stage = seen(s.pk for s in listed)
    return {s.pk: hours.learn(s.standard_hours, by_stage[s.pk], prior=s.prior_hours) for s in listed}


def of_stages(stages: Iterable[Stage]) -> dict[int, Learned | None]:
    """What was learnt for stages of cards, by their id, `plan_stage` fetched; one of no plan is left out. The plan's hours are
    those of the moment it was copied: what the plan says since changes no card, what jobs say does."""
    listed = {s.pk: (s, s.plan_stage) for s in stages if s.plan_stage}
    said = {x.stage_id: x for x in PlanSaid.objects.filter(stage__in=list(listed))}
    by_stage = seen(p.pk for _, p in listed.values())
    return {
        pk: hours.learn(then.standard_hours, by_stage[plan.pk], prior=then.prior_hours)
        for pk, (_, plan) in listed.items()
        for then in (said.get(pk, plan),)
    }


@dataclass(frozen=True)
class PlanLine:
    """A stage of a plan with what was learnt of it."""

    stage: PlanStage
    learned: Learned | None
    seen: list[Seen]

    @property
    def taken(self) -> bool:
        """The standard hours were taken from jobs: they are other than those typed into the plan."""
        return self.stage.standard_hours != self.stage.prior_hours

    @property
    def outliers(self) -> frozenset[int]:
        return frozenset(self.learned.outliers) if self.learned else frozenset()


def of_plan(plan_id: int) -> list[PlanLine]:
    """The stages of a plan in order, each with its jobs."""
    return _lines(PlanStage.objects.filter(plan=plan_id))


def plan_stage(pk: int) -> PlanLine | None:
    return next(iter(_lines(PlanStage.objects.filter(pk=pk))), None)


def _lines(stages: QuerySet[PlanStage]) -> list[PlanLine]:
    listed = list(stages.select_related("plan"))
    by_stage = seen(s.pk for s in listed)
    return [
        PlanLine(s, hours.learn(s.standard_hours, by_stage[s.pk], prior=s.prior_hours), by_stage[s.pk]) for s in listed
    ]


def together() -> float:
    """How far the stages of one card run long together, from the newest finished cards: of what each stage took about its own
    mean, a stage of no plan by its factor on the hours of its card. A fixed number of queries."""
    newest = (
        Stage.objects.filter(
            finished_at__isnull=False, removed_at__isnull=True, standard_hours__gt=0, card__finished_at__isnull=False
        )
        .order_by("-card_id")
        .values_list("card_id", flat=True)
        .distinct()[:CARDS]
    )
    rows = list(
        Stage.objects.filter(
            card__in=list(newest), finished_at__isnull=False, removed_at__isnull=True, standard_hours__gt=0
        )
    )
    aside = _set_aside(rows)
    booked = timebook.hours_by_stage(rows)
    took = ((row, booked[row.pk].booked) for row in rows if row.pk not in aside)
    return hours.together(
        (row.card_id, row.plan_stage_id, math.log(spent if row.plan_stage_id else spent / row.standard_hours))
        for row, spent in took
        if spent > 0
    )


def newest(plan_stage_ids: Iterable[int]) -> QuerySet[Stage]:
    """For each of these stages of plans the newest stages of cards that were made from it."""
    return _newest(Stage.objects.all(), set(plan_stage_ids), "id", OFFERED)


@dataclass(frozen=True)
class CardLine:
    """A finished stage of a card: what was planned, what it took, what the next job is expected to take."""

    stage: Stage
    standard: Decimal
    booked: Decimal
    left_out: str
    learned: Learned | None

    @property
    def difference(self) -> Decimal:
        return self.booked - self.standard


def of_card(card_id: int) -> list[CardLine]:
    """Stages of a card with hours booked, once they are finished."""
    rows = list(
        Stage.objects.filter(card=card_id, removed_at__isnull=True, finished_at__isnull=False).select_related(
            "plan_stage"
        )
    )
    booked = timebook.hours_by_stage(rows)
    found = learned(s.plan_stage for s in rows if s.plan_stage)
    aside = _set_aside(rows)
    return [
        CardLine(s, s.standard_hours, booked[s.pk].booked, aside.get(s.pk, ""), found.get(s.plan_stage_id or 0))
        for s in rows
        if booked[s.pk].booked > 0 or s.standard_hours > 0
    ]
