"""What needs several rooms at once."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from decimal import Decimal

from jobs.cards import actions as cards
from jobs.cards.actions import lock_card
from jobs.cards.actions.locking import called
from jobs.cards.models import JobCard
from jobs.draws import queries as drawn
from jobs.draws.models import Draw
from jobs.machines import actions as machines
from jobs.timebook import actions as timebook
from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, Refused
from shop.kernel.writing import writes
from shop.people.models import Person

from .queries import card as queries

NAMED = 5  # parts and gates named in one sentence


@writes
def take_in(
    *,
    by: Person,
    machine_id: int,
    complaint: str,
    came_with: str = "",
    usage: Decimal | None = None,
    usage_note: str = "",
    promised_on: date | None = None,
    plan_ids: Collection[int] = (),
    site_id: int | None = None,
    arrived: bool = True,
) -> JobCard:
    """A machine comes over the counter: its meter is read, a card opened, with the stages, gates and parts of its plans.

    Raises as `jobs.cards.actions.open_card` and `jobs.machines.actions.read_usage`, whose fields are here `usage` and
    `usage_note`.
    """
    if usage is not None:
        try:
            machines.read_usage(machine_id, by=by, value=usage, note=usage_note)
        except BadInput as error:
            error.fields = {_USAGE.get(name, name): texts for name, texts in error.fields.items()}
            raise
    return cards.open_card(
        by=by, machine_id=machine_id, complaint=complaint, came_with=came_with, promised_on=promised_on,
        plan_ids=list(plan_ids), site_id=site_id, arrived=arrived,
    )  # fmt: skip


_USAGE = {"value": "usage", "note": "usage_note", "read_at": "usage"}


@writes
def cancel_card(card_id: int, *, by: Person, reason: str) -> JobCard:
    """Cancel a card. What is kept for it goes back to the shelf.

    Raises NotFound, BadInput (reason), and Refused when the card is closed, a clock runs on it, or something drawn is still
    in hand ("parts-loose").
    """
    lock_card(card_id)
    loose = list(drawn.loose(card_id))
    if loose:
        raise Refused(
            f"Still in hand at the bench: {_loose(loose)}. Return them to the shelf first, or note them as fitted.",
            code="parts-loose",
            draws=[d.pk for d in loose],
        )
    return timebook.cancel_card(card_id, by=by, reason=reason)


@writes
def hand_over(card_id: int, *, by: Person) -> JobCard:
    """Hand the machine over to its owner and close the card. What is still kept for it goes back to the shelf.

    Raises NotFound, and Refused while the card isn't finished, a clock runs on it (code "clock-running"), something
    drawn was neither fitted nor returned ("parts-loose"), or a gate of work that was done is unsigned
    ("gates-unsigned"). An unpaid invoice forbids nothing: whether the machine may go is for the office to say.
    """
    lock_card(card_id)
    found = queries.hand_over(card_id)
    if found.loose:
        raise Refused(
            f"Still in hand at the bench: {_loose(found.loose)}. Return them to the shelf, or reopen "
            "the card and note them as fitted.",
            code="parts-loose",
            draws=[d.pk for d in found.loose],
        )
    if found.unsigned:
        named = "; ".join(f"“{g.text}” of {called(g.stage)}" for g in found.unsigned[:NAMED])
        raise Refused(
            f"Not signed: {named}{_more(len(found.unsigned))}. Reopen the card and have it signed.",
            code="gates-unsigned",
            gates=[g.pk for g in found.unsigned],
        )
    return timebook.hand_over(card_id, by=by)


def _loose(rows: list[Draw]) -> str:
    left: dict[str, Decimal] = {}
    for row in rows:
        in_hand = row.quantity - row.returned - row.fitted - row.spent
        left[row.part.number] = left.get(row.part.number, Decimal(0)) + in_hand
    named = ", ".join(f"{plain(quantity)} of {number}" for number, quantity in list(left.items())[:NAMED])
    return named + _more(len(left))


def _more(many: int) -> str:
    return f" and {many - NAMED} more" if many > NAMED else ""
