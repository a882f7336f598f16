"""What the writes of this room begin with: the stage, part or draw they are about, locked and checked; and what they end
with: an event of the draw."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import Any

from inventory.parts.models import Part
from inventory.stock import actions as stock
from jobs.cards.actions.locking import called, must_be_open
from jobs.cards.models import JobCard, Stage
from jobs.draws.models import Draw, DrawEvent, Need
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.statements import Joined
from shop.kernel.versions import claim
from shop.people.models import Person
from shop.trail.record import record


def open_stage(stage_id: int) -> Stage:
    stage = Stage.objects.select_related("card").filter(pk=stage_id, removed_at__isnull=True).first()
    if stage is None:
        raise NotFound("There is no such stage.")
    return stage


_HELD = Joined(
    "SELECT {c} FROM jobs_cards_jobcard c WHERE c.id = %s {lock}", lock="FOR SHARE OF c",
    c=(JobCard, "id", "number", "site_id", "promised_on", "arrived_at", "finished_at", "handed_over_at", "cancelled_at"),
)  # fmt: skip


def hold_cards(card_ids: Iterable[int]) -> dict[int, JobCard]:
    """Who finishes, cancels or hands over these cards waits until the commit, and what they wrote before is seen. Before the
    stock of any part is locked."""
    found = {pk: _HELD.one([pk]) for pk in sorted(set(card_ids))}
    return {pk: row[0] for pk, row in found.items() if row is not None}


def hold_needs(pks: Collection[int]) -> dict[int, Need]:
    """Needs of one part, to weigh what they have: their cards held, then the stock of the part at their sites, then the needs
    themselves, each in the order of their keys; read as they are inside the locks. Raises NotFound."""
    rows = Need.objects.filter(pk__in=pks, removed_at__isnull=True).values_list("part_id", "stage__card_id")
    pairs = list(rows)
    cards = hold_cards(card for _part, card in pairs)
    stock.hold({(part, cards[card].site_id) for part, card in pairs})
    needs = {pk: claim(Need, pk, None, removed_at__isnull=True) for pk in sorted(pks)}
    for need in needs.values():
        need.stage = open_stage(need.stage_id)
    return needs


def live_part(part_id: int) -> Part:
    part = Part.objects.filter(pk=part_id).first()
    if part is None:
        raise NotFound("There is no such part.")
    must_be_in_use(part)
    return part


def must_be_in_use(part: Part) -> None:
    if part.archived_at:
        raise Refused(f"{part.number} is archived. Use the part that replaces it.")


def lock_draw(draw_id: int, *, closed: bool = False) -> Draw:
    row = (
        Draw.objects.select_for_update(of=("self",)).select_related("part", "stage", "card").filter(pk=draw_id).first()
    )
    if row is None:
        raise NotFound("There is no such draw.")
    if not closed:
        must_be_open(row.card)
    return row


def quantity_in_hand(row: Draw, quantity: Decimal, verb: str) -> Decimal:
    quantity = positive(quantity, row.part.unit)
    in_hand = row.quantity - row.returned - row.fitted - row.spent
    if quantity > in_hand:
        raise field_error(
            "quantity",
            f"Of this draw {plain(in_hand)} are in hand: {plain(row.quantity)} drawn, "
            f"{plain(row.returned)} returned, {plain(row.fitted)} fitted, "
            f"{plain(row.spent)} spent. No more than that can be {verb}.",
        )
    return quantity


def quantity_fitted(row: Draw, quantity: Decimal) -> Decimal:
    quantity = positive(quantity, row.part.unit)
    if quantity > row.fitted:
        raise field_error("quantity", f"Only {plain(row.fitted)} of this draw are fitted.")
    return quantity


def note_event(row: Draw, kind: str, quantity: Decimal, by: Person, note: str, movement: Any = None) -> DrawEvent:
    event = DrawEvent.objects.create(
        draw=row, kind=kind, quantity=quantity, movement=movement, note=note, at=clock.now(), by=by
    )
    record(
        by, f"part.{kind}", row, root=row.card, part=row.part.number, name=row.part.name, quantity=plain(quantity),
        stage=called(row.stage), note=note,
    )  # fmt: skip
    return event
