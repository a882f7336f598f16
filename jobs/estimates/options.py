"""Optional work of an estimate: which of its lines stand or fall together, and how likely each such option is by what became of
those before it. Of the customer's word on a line, or of what was done on the cards of a plan; cancelled cards don't count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db.models import QuerySet

from jobs.cards.models import Stage
from jobs.learning import hours
from jobs.learning import queries as learning

from .models import EstimateLine, GoAheadLine, LineKind

DECIDING = frozenset({LineKind.LABOUR, LineKind.SUBLET})  # such a line says yes or no to its stage
Thing = tuple[int, int | str]  # a plan's stage, and the part or else what kind of line it is and its text


def whole_stages(lines: Iterable[tuple[int | None, str, bool]]) -> set[int]:
    """Stages that are an option as a whole: their work is a line, and none of their lines is other than optional. `lines`:
    (stage, kind, whether it is optional), of one estimate."""
    deciding: set[int] = set()
    certain: set[int] = set()
    for stage, kind, optional in lines:
        if stage is None:
            continue
        if not optional:
            certain.add(stage)
        elif kind in DECIDING:
            deciding.add(stage)
    return deciding - certain


def named(lines: Sequence[EstimateLine]) -> dict[int, str]:
    """The option that each optional line belongs to, by line: its stage where that is optional as a whole, else the line
    alone; a charge that of its part."""
    whole = whole_stages((x.stage_id, x.kind, x.optional) for x in lines)
    return {
        x.pk: f"stage {x.stage_id}" if x.stage_id in whole else f"line {x.accompanies_id or x.pk}"
        for x in lines
        if x.optional
    }


def chances(card_id: int, lines: Sequence[EstimateLine]) -> dict[str, Decimal]:
    """How likely each option of these lines is, by its name; `lines` of one estimate of the card, with their stages.

    Of a line: how many customers agreed to it of those who answered, on stages of the same stage of a plan (the last word on
    each card). Of a whole stage: on how many it was done of the finished cards on which it was an option. Both by the rule of
    succession, so one half where nothing is known. A fixed number of queries, none without optional lines.
    """
    names = named(lines)
    if not names:
        return {}
    plans = {x.stage.plan_stage_id for x in lines if x.optional and x.stage and x.stage.plan_stage_id}
    stages = learning.newest(plans).filter(card__cancelled_at__isnull=True).exclude(card=card_id)
    before = EstimateLine.objects.filter(optional=True, estimate__issued_at__isnull=False, stage__in=stages)
    words = _words(before)
    done = _done(before)
    found = {}
    for line in lines:
        name = names.get(line.pk)
        if name is None or line.accompanies_id:
            continue
        plan = line.stage.plan_stage_id if line.stage else None
        if plan is None:
            past: Iterable[bool] = ()
        elif name.startswith("stage "):
            past = done.get(plan, ())
        else:
            past = words.get(_thing(plan, line.part_id, line.kind, line.text), {}).values()
        told = list(past)
        found[name] = hours.chance(len(told), sum(told))
    return found


def _thing(plan: int, part: int | None, kind: str, text: str) -> Thing:
    return plan, part if part is not None else f"{kind} {text}"


def _words(before: QuerySet[EstimateLine]) -> dict[Thing, dict[int, bool]]:
    """The last word of each card on what was optional there."""
    found: dict[Thing, dict[int, bool]] = defaultdict(dict)
    said = GoAheadLine.objects.filter(line__in=before, line__accompanies__isnull=True).order_by("go_ahead_id")
    for plan, part, kind, text, card, accepted in said.values_list(
        "line__stage__plan_stage", "line__part", "line__kind", "line__text", "line__stage__card", "accepted"
    ):
        found[_thing(plan, part, kind, text)][card] = accepted
    return found


def _done(before: QuerySet[EstimateLine]) -> dict[int, list[bool]]:
    """By the plan's stage, whether it was done on each finished card on which it was an option as a whole."""
    over = Stage.objects.filter(pk__in=before.values("stage"), card__finished_at__isnull=False)
    there = EstimateLine.objects.filter(estimate__issued_at__isnull=False, stage__in=over)
    by_estimate: dict[int, list[tuple[int | None, str, bool]]] = defaultdict(list)
    became: dict[int, tuple[int, bool]] = {}
    for estimate, stage, kind, optional, plan, finished, removed in there.values_list(
        "estimate", "stage", "kind", "optional", "stage__plan_stage", "stage__finished_at", "stage__removed_at"
    ):
        by_estimate[estimate].append((stage, kind, optional))
        if stage and plan:
            became[stage] = plan, finished is not None and removed is None
    found: dict[int, list[bool]] = defaultdict(list)
    for stage in set().union(*map(whole_stages, by_estimate.values())):
        plan, was_done = became[stage]
        found[plan].append(was_done)
    return found
