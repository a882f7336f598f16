"""Taken from stock for a stage, and brought back unused."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F

from inventory.parts.models import Part
from inventory.stock import actions as stock
from jobs.cards.actions.locking import called, must_be_current, must_be_in_shop
from jobs.cards.models import JobCard, Stage
from jobs.draws.models import Draw, DrawEvent, Need
from shop.kernel import clock, writing
from shop.kernel.decimals import plain
from shop.kernel.errors import NotFound, Refused
from shop.kernel.statements import Joined, next_keys
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .locking import live_part, lock_draw, must_be_in_use, note_event, open_stage, quantity_in_hand
from .trays import clear_emptied

ZERO = Decimal(0)


@dataclass(frozen=True)
class Drawn:
    """What one press took: a row for each lot it came from."""

    stage: Stage
    part: Part
    quantity: Decimal
    rows: list[Draw]

    @property
    def pk(self) -> int:
        return self.rows[0].pk


@writes
def draw(
    *,
    by: Person,
    stage_id: int,
    part_id: int,
    quantity: Decimal,
    bin_id: int | None = None,
    lot_id: int | None = None,
    override: str = "",
) -> Drawn:
    """Take `quantity` (in the part's unit) from stock for a stage, out of the lot that expires first, else the oldest.

    What is kept for this stage is used first. `override` is an owner's reason to use an expired lot. Raises NotFound,
    BadInput, and Refused when the stage can't take parts now, the customer declined the part ("part-declined"), or not
    enough is free (saying what is where and for whom).
    """
    stage, part, need, key = _taken_for(stage_id, part_id)
    card = stage.card
    _check_takes_parts(stage)
    if need is not None and need.declined_at:
        raise Refused(
            f"The customer declined {part.number} for {called(stage)} of card {card.number} ({need.declined_ref}). If it "
            "is needed all the same, the office gets a new go-ahead first.",
            code="part-declined",
        )
    movements = stock.draw(
        by=by, part_id=part_id, site_id=card.site_id, quantity=quantity,
        label=f"card {card.number}, stage {stage.position}",
        reservation_id=need.reservation_id if need else None,
        bin_id=bin_id, lot_id=lot_id, override=override, holder="card",
    )  # fmt: skip
    now = clock.now()
    keys = [key, *next_keys(Draw, len(movements) - 1, after=key)]
    rows = [
        Draw(
            pk=pk, stage=stage, card=card, part=part, need=need, movement=m,
            quantity=-m.quantity, value=-m.value, at=now, by=by,
        )
        for pk, m in zip(keys, movements, strict=True)
    ]  # fmt: skip
    writing.insert(rows)
    taken = sum((row.quantity for row in rows), ZERO)
    if need:
        writing.change(Need, {"id": need.pk}, add={"drawn": taken})
    record(
        by,
        "part.drawn",
        rows[0],
        root=card,
        part=part.number,
        name=part.name,
        quantity=plain(taken),
        stage=called(stage),
    )
    return Drawn(stage, part, taken, rows)


# Whoever finishes or hands over the card, or finishes, removes or declines the stage, waits for a draw under way, and a
# draw waits for them and then sees what they wrote. Draws don't wait for each other. First the card, as everywhere.
_TAKEN_FOR = Joined(
    "SELECT {s}, {c}, {p}, {n}, {key} FROM jobs_cards_stage s JOIN jobs_cards_jobcard c ON c.id = s.card_id"
    " JOIN inventory_parts_part p ON p.id = %s"
    " LEFT JOIN jobs_draws_need n ON n.stage_id = s.id AND n.part_id = p.id AND n.removed_at IS NULL"
    " WHERE s.id = %s AND s.removed_at IS NULL {lock}",
    lock="FOR SHARE OF c, s", key=Draw,
    s=(Stage, "id", "card_id", "position", "name", "chargeable", "needs_go_ahead", "go_ahead_at", "declined_at",
       "started_at", "finished_at", "removed_at"),
    c=(JobCard, "id", "number", "site_id", "arrived_at", "finished_at", "handed_over_at", "cancelled_at"),
    p=(Part, "id", "number", "name", "unit", "single_use", "archived_at"), n=Need,
)  # fmt: skip


def _taken_for(stage_id: int, part_id: int) -> tuple[Stage, Part, Need | None, int]:
    """Stage with its card, part, what is needed of it there, and the key of a draw; card and stage held until the
    commit. Raises NotFound, Refused (archived)."""
    found = _TAKEN_FOR.one([part_id, stage_id])
    if found is None:
        open_stage(stage_id)
        live_part(part_id)
        raise NotFound("There is no such stage.")
    stage, stage.card, part, need, key = found
    must_be_in_use(part)
    return stage, part, need, key


@writes
def put_back(
    draw_id: int,
    *,
    by: Person,
    quantity: Decimal,
    bin_id: int | None = None,
    note: str = "",
    opened_on: date | None = None,
) -> Draw:
    """Return unused `quantity` of a draw to its lot. Never what was fitted or spent, never more than was drawn.

    `opened_on`: it is left of a container opened that day, and keeps only so long. Also after the card was closed: the
    shelf must be right.
    """
    row = lock_draw(draw_id, closed=True)
    quantity = quantity_in_hand(row, quantity, "returned")
    movement = stock.put_back(
        by=by, movement_id=row.movement_id, quantity=quantity, bin_id=bin_id,
        label=f"card {row.card.number}, stage {row.stage.position}", reason=note, holder="card",
        opened_on=opened_on,
    )  # fmt: skip
    row.returned += quantity
    row.save(update_fields=["returned"])
    if row.need_id:
        Need.objects.filter(pk=row.need_id).update(drawn=F("drawn") - quantity)
    note_event(row, DrawEvent.Kind.RETURN, quantity, by, note, movement=movement)
    clear_emptied([row.stage], by)
    return row


@writes
def undo_draw(draw_id: int, *, by: Person) -> Draw:
    """Return all of a draw and of what was drawn in the same press from other lots. Raises NotFound, and BadInput when
    some of it isn't in hand any more."""
    first = Draw.objects.select_related("movement").filter(pk=draw_id).first()
    if first is None:
        raise NotFound("There is no such draw.")
    together = Draw.objects.filter(movement__posting=first.movement.posting).order_by("pk")
    for pk, quantity in list(together.values_list("pk", "quantity")):
        put_back(pk, by=by, quantity=quantity)
    return first


def _check_takes_parts(stage: Stage) -> None:
    """Parts that are charged are only drawn for work the customer agreed to, while the machine is here."""
    must_be_in_shop(stage.card)
    must_be_current(stage)
    if stage.chargeable and stage.needs_go_ahead and stage.go_ahead_at is None:
        raise Refused(
            f"The customer's go-ahead for {called(stage)} of card {stage.card.number} is missing. Ask the office to get "
            "it; parts that are charged aren't drawn without it.",
            code="go-ahead-missing",
        )
