"""Reads of the cards room. A page of cards takes two queries however many stages they have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import DateField, OuterRef, Prefetch, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from jobs.plans.models import PlanPart
from shop.business.models import Business
from shop.kernel import clock
from shop.people.models import Person
from shop.trail.models import TrailRow
from shop.trail.record import kind_of

from . import state, wording
from .models import CardNote, Gate, Hold, JobCard, Stage
from .state import CardFacts, CardState, StageFacts, StageState, Waiting

NO_DATE = date(9999, 12, 31)  # cards without a promised date stand last

CARD_STATES: dict[CardState, Q] = {
    CardState.BOOKED: Q(arrived_at__isnull=True, finished_at__isnull=True, cancelled_at__isnull=True),
    CardState.IN_SHOP: Q(arrived_at__isnull=False, finished_at__isnull=True, cancelled_at__isnull=True),
    CardState.FINISHED: Q(finished_at__isnull=False, handed_over_at__isnull=True, cancelled_at__isnull=True),
    CardState.HANDED_OVER: Q(handed_over_at__isnull=False),
    CardState.CANCELLED: Q(cancelled_at__isnull=False),
}
OPEN = Q(handed_over_at__isnull=True, cancelled_at__isnull=True)
STAGE_LEFT = Q(finished_at__isnull=True, declined_at__isnull=True, removed_at__isnull=True)


@dataclass(frozen=True)
class Standing:
    """What a card is and waits for, in words."""

    state: CardState
    words: str
    waits: Waiting
    late_days: int

    @property
    def late(self) -> str:
        return state.late_words(self.late_days)


def _stages_with_facts() -> QuerySet[Stage]:
    holds = Hold.objects.filter(stage=OuterRef("pk"), ended_at__isnull=True)
    first_open = Stage.after.through.objects.filter(
        from_stage=OuterRef("pk"),
        to_stage__finished_at__isnull=True,
        to_stage__declined_at__isnull=True,
        to_stage__removed_at__isnull=True,
    ).order_by("to_stage__position")
    gates = Gate.objects.filter(
        stage=OuterRef("pk"), when="start", signed_at__isnull=True, removed_at__isnull=True
    ).order_by("position", "id")
    return Stage.objects.annotate(
        hold_reason=Subquery(holds.values("reason")[:1]),
        hold_note=Subquery(holds.values("note")[:1]),
        hold_since=Subquery(holds.values("since")[:1]),
        waits_after=Subquery(first_open.values("to_stage__position")[:1]),
        sign_first=Subquery(gates.values("text")[:1]),
    )


def _cards() -> QuerySet[JobCard]:
    holds = Hold.objects.filter(card=OuterRef("pk"), stage__isnull=True, ended_at__isnull=True)
    return (
        JobCard.objects.select_related("machine", "customer", "site", "opened_by")
        .annotate(
            hold_reason=Subquery(holds.values("reason")[:1]),
            hold_note=Subquery(holds.values("note")[:1]),
            due=Coalesce("promised_on", Value(NO_DATE), output_field=DateField()),
        )
        .prefetch_related(
            Prefetch(
                "stages",
                queryset=_stages_with_facts()
                .filter(card__handed_over_at__isnull=True, card__cancelled_at__isnull=True)
                .defer("instructions", "cautions"),
                to_attr="listed_stages",
            )
        )
    )


def cards(
    *,
    state: str | None = None,
    open: bool | None = None,
    customer_id: int | None = None,
    machine_id: int | None = None,
    number: str = "",
    late: bool | None = None,
    mechanic_id: int | None = None,
) -> QuerySet[JobCard]:
    """Cards narrowed by what is given. `number`: the start of the card number. `mechanic_id`: has a stage left for them.
    `late` False means not late. Orderable by id, number and `due` (promised date, none last)."""
    rows = _cards()
    if state:
        rows = rows.filter(CARD_STATES[CardState(state)])
    if open is not None:
        rows = rows.filter(OPEN) if open else rows.exclude(OPEN)
    if customer_id is not None:
        rows = rows.filter(customer=customer_id)
    if machine_id is not None:
        rows = rows.filter(machine=machine_id)
    if number:
        rows = rows.filter(number__startswith=number)
    if late is not None:
        is_late = Q(promised_on__lt=clock.today(), finished_at__isnull=True) & OPEN
        rows = rows.filter(is_late) if late else rows.exclude(is_late)
    if mechanic_id is not None:
        rows = rows.filter(OPEN, pk__in=Stage.objects.filter(STAGE_LEFT, mechanic=mechanic_id).values("card"))
    return rows


def card(pk: int) -> JobCard | None:
    """One card with what its state is made of."""
    return _cards().filter(pk=pk).first()


def standing(card: JobCard) -> Standing:
    """The state of a card from this module's queries."""
    facts = CardFacts(
        arrived=card.arrived_at is not None,
        finished=card.finished_at is not None,
        handed_over=card.handed_over_at is not None,
        cancelled=card.cancelled_at is not None,
        promised_on=card.promised_on,
        hold=card.hold_reason or "",  # type: ignore[attr-defined]
        hold_note=card.hold_note or "",  # type: ignore[attr-defined]
        stages=[facts_of(s) for s in card.listed_stages],  # type: ignore[attr-defined]
    )
    now = state.card_state(facts)
    return Standing(now, state.CARD_WORDS[now], state.waiting(facts), state.late_by(facts, clock.today()))


def facts_of(stage: Any) -> StageFacts:
    """The facts of a stage from this module's queries (with its first open predecessor and unsigned start-gate)."""
    return StageFacts(
        position=stage.position,
        name=stage.name,
        chargeable=stage.chargeable,
        needs_go_ahead=stage.needs_go_ahead,
        go_ahead=stage.go_ahead_at is not None,
        declined=stage.declined_at is not None,
        started=stage.started_at is not None,
        finished=stage.finished_at is not None,
        removed=stage.removed_at is not None,
        hold=stage.hold_reason or "",
        hold_note=stage.hold_note or "",
        waits_after=_open_before(stage),
        unsigned_first=_sign_first(stage),
    )


def _open_before(stage: Any) -> Sequence[int]:
    if hasattr(stage, "all_after"):
        return [s.position for s in stage.all_after if not (s.finished_at or s.declined_at or s.removed_at)]
    return () if stage.waits_after is None else (stage.waits_after,)


def _sign_first(stage: Any) -> Sequence[str]:
    if hasattr(stage, "live_gates"):
        return [g.text for g in stage.live_gates if g.when == "start" and not g.signed_at]
    return (stage.sign_first,) if stage.sign_first else ()


def stage_state(stage: Any) -> StageState:
    """The state of a stage from `stages()` or `whole()`."""
    return state.stage_state(facts_of(stage), in_shop=_in_shop(stage.card), card_hold=stage.card_hold or "")


def stage_words(stage: Any) -> str:
    """The same in words."""
    return state.stage_words(
        facts_of(stage),
        in_shop=_in_shop(stage.card),
        card_hold=stage.card_hold or "",
        card_hold_note=stage.card_hold_note or "",
    )


def _in_shop(card: JobCard) -> bool:
    return card.arrived_at is not None and card.finished_at is None and card.cancelled_at is None


def stages(
    *,
    card_id: int | None = None,
    mechanic_id: int | None = None,
    nobody: bool = False,
    todo: bool | None = None,
    removed: bool = False,
) -> QuerySet[Stage]:
    """Stages with gates, predecessors, holds and card. `todo`: left to do on a card that is in the shop (False: the
    others). `nobody`: given to no mechanic. Removed ones only when asked for."""
    holds = Hold.objects.filter(card=OuterRef("card"), stage__isnull=True, ended_at__isnull=True)
    rows = (
        _stages_with_facts()
        .annotate(
            card_hold=Subquery(holds.values("reason")[:1]),
            card_hold_note=Subquery(holds.values("note")[:1]),
        )
        .select_related("card__machine", "card__customer", "mechanic", "started_by", "finished_by", "override_by")
        .prefetch_related(
            Prefetch("after", queryset=Stage.objects.order_by("position"), to_attr="all_after"),
            Prefetch(
                "gates",
                queryset=Gate.objects.filter(removed_at__isnull=True).select_related("signed_by"),
                to_attr="live_gates",
            ),
        )
    )
    if not removed:
        rows = rows.filter(removed_at__isnull=True)
    if card_id is not None:
        rows = rows.filter(card=card_id)
    if mechanic_id is not None:
        rows = rows.filter(mechanic=mechanic_id)
    if nobody:
        rows = rows.filter(mechanic__isnull=True)
    if todo is not None:
        here = Q(card__arrived_at__isnull=False, card__finished_at__isnull=True, card__cancelled_at__isnull=True)
        rows = rows.filter(STAGE_LEFT & here) if todo else rows.exclude(STAGE_LEFT & here)
    return rows


def stage(pk: int) -> Stage | None:
    """One stage as in `stages()`, also when it was removed."""
    return stages(removed=True).filter(pk=pk).first()


@dataclass(frozen=True)
class Whole:
    """A card with everything this room knows of it; the rooms above add their panels beside it."""

    card: JobCard
    standing: Standing
    stages: list[Stage]
    hold: Hold | None
    notes: list[CardNote]


def whole(card_id: int) -> Whole | None:
    """The card for its page: stages in order, its own hold, the latest 100 notes."""
    found = card(card_id)
    if found is None:
        return None
    rows = list(stages(card_id=card_id))
    notes = CardNote.objects.filter(card=card_id).select_related("by", "stage").order_by("-id")[:100]
    return Whole(found, standing(found), rows, hold_of(card_id), list(notes))


def hold_of(card_id: int) -> Hold | None:
    """The hold of the whole card, if it stands still."""
    return Hold.objects.filter(card=card_id, stage__isnull=True, ended_at__isnull=True).select_related("by").first()


def gates(*, stage_id: int | None = None, card_id: int | None = None, unsigned: bool | None = None) -> QuerySet[Gate]:
    rows = Gate.objects.filter(removed_at__isnull=True).select_related("signed_by", "stage")
    if stage_id is not None:
        rows = rows.filter(stage=stage_id)
    if card_id is not None:
        rows = rows.filter(stage__card=card_id)
    if unsigned is not None:
        rows = rows.filter(signed_at__isnull=unsigned)
    return rows


def gate(pk: int) -> Gate | None:
    return gates().filter(pk=pk).first()


def notes(*, card_id: int | None = None, stage_id: int | None = None) -> QuerySet[CardNote]:
    rows = CardNote.objects.select_related("by")
    if card_id is not None:
        rows = rows.filter(card=card_id)
    if stage_id is not None:
        rows = rows.filter(stage=stage_id)
    return rows


def note(pk: int) -> CardNote | None:
    return notes().filter(pk=pk).first()


def history(card_id: int, reader: Person) -> QuerySet[Any]:
    """What was done on a card, by any room, as far as `reader` may know it (`wording.READERS`); `currency`: of the amounts whose
    row names none."""
    rows = TrailRow.objects.filter(root=kind_of(JobCard), root_id=card_id).select_related("by")
    for of in wording.hidden_from(reader.rights):
        rows = rows.exclude(verb=of) if "." in of else rows.exclude(verb__startswith=f"{of}.")
    own = Business.objects.filter(pk=1).values("currency")
    return rows.annotate(currency=Coalesce(Subquery(own), Value(Business().currency)))


def plan_parts_for(plan_ids: Sequence[int]) -> list[PlanPart]:
    """The parts that these plans need, each with its planned stage (`stage_id`)."""
    return list(PlanPart.objects.filter(stage__plan__in=plan_ids).select_related("part").order_by("id"))


def mechanics() -> list[Person]:
    """Who may be given a stage."""
    return [p for p in Person.objects.filter(is_active=True) if "stages.work" in p.rights]
