"""Where work stops its clocks stop: these do what the actions of the cards room of the same name do, and see to the clocks
first. Pages and API call these."""

from __future__ import annotations

from jobs.cards import actions as cards
from jobs.cards.actions.locking import called
from jobs.cards.models import Hold, JobCard, Stage
from shop.kernel.errors import Refused
from shop.kernel.writing import writes
from shop.people.models import Person

from .. import queries
from ..models import TimeBooking
from .clocks import stop_clocks
from .locking import lock_people


@writes
def finish_stage(stage_id: int, *, by: Person) -> Stage:
    """Finish a stage; one's own clock on it stops. Raises Refused, naming them, while others are clocked on to it."""
    _lock_clocked_on(stage_ids=[stage_id])
    stage = cards.finish_stage(stage_id, by=by)
    # after the card's lock is taken, which a new clock needs too (`work_on`)
    others = queries.running().filter(stage=stage_id).exclude(person=by)
    named = ", ".join(row.person.name for row in others)
    if named:
        raise Refused(
            f"Still clocked on to {called(stage)}: {named}. They clock off first, or the office stops their clock.",
            code="clock-running",
        )
    stop_clocks([stage_id], by=by)
    return stage


@writes
def hold_stage(stage_id: int, *, by: Person, reason: str, note: str = "") -> Hold:
    """Put a stage on hold; every clock on it stops. Raises as the cards room."""
    _lock_clocked_on(stage_ids=[stage_id])
    hold = cards.hold_stage(stage_id, by=by, reason=reason, note=note)
    stop_clocks([stage_id], by=by)
    return hold


@writes
def hold_card(card_id: int, *, by: Person, reason: str, note: str = "") -> Hold:
    """Put a card on hold; every clock on its stages stops. Raises as the cards room."""
    _lock_clocked_on(card_id=card_id)
    hold = cards.hold_card(card_id, by=by, reason=reason, note=note)
    stop_clocks(list(hold.card.stages.values_list("pk", flat=True)), by=by)
    return hold


@writes
def hand_over(card_id: int, *, by: Person) -> JobCard:
    """Hand the machine over. Raises Refused, naming them, while clocks run on the card."""
    card = cards.hand_over(card_id, by=by)
    _refuse_clocks(card_id)
    return card


@writes
def cancel_card(card_id: int, *, by: Person, reason: str) -> JobCard:
    """Cancel a card. Raises Refused, naming them, while clocks run on it."""
    card = cards.cancel_card(card_id, by=by, reason=reason)
    _refuse_clocks(card_id)
    return card


def _refuse_clocks(card_id: int) -> None:
    """After the card's lock is taken: a new clock needs it too (`work_on`), so none can come between."""
    rows = list(queries.running(card_id=card_id))
    if rows:
        names = ", ".join(f"{r.person.name} on {called(r.stage)}" for r in rows)
        raise Refused(f"The clock still runs: {names}. Clock off first.", code="clock-running")


def _lock_clocked_on(*, stage_ids: list[int] | None = None, card_id: int | None = None) -> None:
    """People before cards, as everywhere in this room; else two people could wait for each other."""
    rows = TimeBooking.objects.filter(queries.VALID, ended_at__isnull=True)
    rows = rows.filter(stage__in=stage_ids) if stage_ids is not None else rows.filter(stage__card=card_id)
    lock_people(rows.values_list("person_id", flat=True))
