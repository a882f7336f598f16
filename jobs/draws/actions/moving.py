"""An owner gives one card what another one has: kept on the shelf, or coming with an order."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import F

from jobs.cards.actions.locking import called, must_be_current, must_be_open
from jobs.draws.models import Need, Promise
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import field_error
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..outlook import check_move
from ..supply import situation
from .locking import hold_needs
from .needs import keep_less, keep_more, refuse_declined


@writes
def move(
    need_id: int,
    *,
    by: Person,
    from_need_id: int,
    quantity: Decimal,
    order_line_id: int | None = None,
    reason: str = "",
) -> Need:
    """Give need `need_id` so much of what another need of the same part and site has: kept on the shelf, or of order line
    `order_line_id`. It stays so until somebody moves it again; `outlook.of_move` tells beforehand who loses what.

    Raises NotFound, BadInput (another part or site, more than the other has, more than is missing here), Refused (card
    closed, stage over, declined).
    """
    if need_id == from_need_id:
        raise field_error("from_need_id", "That is the same one. Choose another card's.", code="same-need")
    needs = hold_needs({need_id, from_need_id})
    need, loser = needs[need_id], needs[from_need_id]
    must_be_open(need.stage.card)
    must_be_current(need.stage)
    refuse_declined(need, "Nothing is kept for it without a new go-ahead.")
    its = situation(need.part_id, need.stage.card.site_id)
    quantity = check_move(its, need, loser, quantity, order_line_id)
    if order_line_id is None:
        keep_less(loser, quantity, by)
        keep_more(need, quantity, by)
        order = ""
    else:
        _promise_less(loser, order_line_id, quantity)
        promise(need, order_line_id, quantity, by)
        order = its.lines[order_line_id].order
    told = {"part": need.part.number, "quantity": plain(quantity), "order": order, "reason": reason}
    record(
        by,
        "need.moved-here",
        need,
        root=need.stage.card,
        stage=called(need.stage),
        other=loser.stage.card.number,
        **told,
    )
    record(
        by,
        "need.moved-away",
        loser,
        root=loser.stage.card,
        stage=called(loser.stage),
        other=need.stage.card.number,
        **told,
    )
    return need


def promise(need: Need, order_line_id: int, quantity: Decimal, by: Person) -> None:
    """So much more of an order line is meant for a need that is held."""
    there = Promise.objects.filter(need=need, order_line=order_line_id)
    if not there.update(quantity=F("quantity") + quantity):
        Promise.objects.create(need=need, order_line_id=order_line_id, quantity=quantity, at=clock.now(), by=by)


def _promise_less(need: Need, order_line_id: int, quantity: Decimal) -> None:
    row = Promise.objects.filter(need=need, order_line=order_line_id).first()
    if row is None:
        return
    if row.quantity <= quantity:
        row.delete()
    else:
        row.quantity -= quantity
        row.save(update_fields=["quantity"])
