"""What became of a part that was drawn: fitted, fitted for trial, spoiled, taken off again."""

from __future__ import annotations

from decimal import Decimal

from jobs.cards.actions.locking import called
from jobs.draws.models import Draw, DrawEvent, Need
from jobs.draws.queries import in_hand
from shop.kernel.decimals import plain
from shop.kernel.errors import Refused, field_error
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .locking import lock_draw, note_event, open_stage, quantity_fitted, quantity_in_hand
from .trays import clear_emptied


@writes
def fit_in_hand(stage_id: int, *, by: Person) -> list[Draw]:
    """All that is in hand for a stage is in the machine for good. Raises NotFound, Refused when nothing is in hand."""
    stage = open_stage(stage_id)
    rows = list(Draw.objects.filter(stage=stage).annotate(left=in_hand()).filter(left__gt=0).order_by("pk"))
    if not rows:
        raise Refused(f"Nothing is in hand for {called(stage)}.", code="nothing-in-hand")
    return [fit(row.pk, by=by, quantity=row.left) for row in rows]


@writes
def fit(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """It is in the machine for good."""
    row = lock_draw(draw_id)
    quantity = quantity_in_hand(row, quantity, "fitted")
    row.fitted += quantity
    row.save(update_fields=["fitted"])
    note_event(row, DrawEvent.Kind.FIT, quantity, by, note)
    clear_emptied([row.stage], by)
    return row


@writes
def trial_fit(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """It was fitted and comes apart again. A single-use part is spent all the same, and the stage needs another."""
    row = lock_draw(draw_id)
    quantity = quantity_in_hand(row, quantity, "fitted for trial")
    if row.part.single_use:
        _spend(row, quantity, by)
    note_event(row, DrawEvent.Kind.TRIAL, quantity, by, note)
    clear_emptied([row.stage], by)
    return row


@writes
def spoil(draw_id: int, *, by: Person, quantity: Decimal, note: str) -> Draw:
    """It was spoiled before it was fitted; the stage needs another. `note` says how."""
    row = lock_draw(draw_id)
    if not note:
        raise field_error("note", "Say how it was spoiled.")
    _spend(row, quantity_in_hand(row, quantity, "spoiled"), by)
    note_event(row, DrawEvent.Kind.SPOILED, quantity, by, note)
    clear_emptied([row.stage], by)
    return row


@writes
def take_off(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """What was fitted comes off again. A single-use part is spent then; another can go back in or be returned."""
    row = lock_draw(draw_id)
    quantity = quantity_fitted(row, quantity)
    row.fitted -= quantity
    row.save(update_fields=["fitted"])
    if row.part.single_use:
        _spend(row, quantity, by)
    note_event(row, DrawEvent.Kind.OFF, quantity, by, note)
    return row


@writes
def correct_fit(draw_id: int, *, by: Person, quantity: Decimal, note: str) -> Draw:
    """ "Fitted" was pressed by mistake: it is still in hand. `note` says why."""
    row = lock_draw(draw_id)
    if not note:
        raise field_error("note", "Say what happened.")
    quantity = quantity_fitted(row, quantity)
    row.fitted -= quantity
    row.save(update_fields=["fitted"])
    note_event(row, DrawEvent.Kind.CORRECT, quantity, by, note)
    return row


def _spend(row: Draw, quantity: Decimal, by: Person) -> None:
    row.spent += quantity
    row.save(update_fields=["spent"])
    # by stage and part, not by the draw's own need: what was drawn unasked has none, and may be spent twice
    open_needs = Need.objects.select_for_update(of=("self",)).filter(removed_at__isnull=True)
    need = open_needs.filter(stage=row.stage, part=row.part).first()
    if need:
        save_next(need, quantity=need.quantity + quantity)
    else:
        need = Need.objects.create(stage=row.stage, part=row.part, quantity=quantity)
    record(
        by, "need.another", need, root=row.card, part=row.part.number, quantity=plain(quantity), stage=called(row.stage)
    )
