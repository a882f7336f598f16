"""Parts on a card: needed, kept, drawn, fitted, fitted for trial, taken off, spoiled, returned."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import F

from inventory.parts.models import Part
from inventory.stock import actions as stock
from inventory.stock import queries as shelf
from jobs.cards.actions.locking import called, must_be_current, must_be_in_shop, must_be_open
from jobs.cards.models import Stage
from jobs.plans.models import PlanPart
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .models import Draw, DrawEvent, Need
from .queries import in_hand

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
def add_needs_of_plan(stages: dict[int, Stage], by: Person) -> list[Need]:
    """The parts that planned stages need, onto the stages of a card they became. Archived parts are left out."""
    planned = PlanPart.objects.filter(stage_id__in=stages, part__archived_at__isnull=True)
    return [
        _need(stages[row.stage_id], row.part, row.quantity, "", by)
        for row in planned.select_related("part").order_by("id")
    ]


@writes
def add_need(*, by: Person, stage_id: int, part_id: int, quantity: Decimal, note: str = "") -> Need:
    """A part is needed for a stage, `quantity` in the part's unit; more of one already listed is added to it.

    Raises NotFound, Refused (card closed, stage finished or removed), BadInput (quantity).
    """
    stage, part = _open_stage(stage_id), _part(part_id)
    must_be_open(stage.card)
    must_be_current(stage)
    return _need(stage, part, positive(quantity, part.unit), note, by)


def _need(stage: Stage, part: Part, quantity: Decimal, note: str, by: Person) -> Need:
    need = Need.objects.select_for_update(of=("self",)).filter(stage=stage, part=part, removed_at__isnull=True).first()
    if need:
        save_next(need, quantity=need.quantity + quantity, note=note or need.note)
    else:
        need = Need.objects.create(stage=stage, part=part, quantity=quantity, note=note)
    record(by, "need.added", need, root=stage.card, part=part.number, quantity=plain(quantity), stage=called(stage))
    return need


@writes
def edit_need(pk: int, expect: int | None, *, by: Person, quantity: Decimal, note: str | None = None) -> Need:
    """Change how much is needed. Not below what has been drawn; what is kept beyond it is let go."""
    need = claim(Need, pk, expect, removed_at__isnull=True)
    stage = _open_stage(need.stage_id)
    part = _part(need.part_id)
    quantity = positive(quantity, part.unit)
    if quantity < need.drawn:
        raise field_error("quantity", f"{plain(need.drawn)} are drawn already. Return some first, or ask for more.")
    before = need.quantity
    save_next(need, quantity=quantity, note=need.note if note is None else note)
    left = quantity - need.drawn
    if not left:
        _let_go(need, by)
    elif need.reservation and _kept(need) > left:
        need.reservation = stock.change_reservation(need.reservation.pk, left, by=by)
    record(
        by,
        "need.changed",
        need,
        root=stage.card,
        part=part.number,
        quantity=plain(quantity),
        before=plain(before),
        stage=called(stage),
    )
    return need


@writes
def remove_need(pk: int, expect: int | None, *, by: Person) -> Need:
    """Take a need off the list and let go of what is kept for it. Refused once something is drawn."""
    need = claim(Need, pk, expect, removed_at__isnull=True)
    stage = _open_stage(need.stage_id)
    if need.drawn:
        raise Refused("Something has been drawn for this. Return it first, or lower what is needed.")
    _let_go(need, by)
    save_next(need, removed_at=clock.now())
    record(by, "need.removed", need, root=stage.card, part=need.part.number, stage=called(stage))
    return need


@writes
def keep(pk: int, *, by: Person) -> Need:
    """Keep what is free on the shelf for this need, up to what is still to be drawn. Fine when nothing is free."""
    need = claim(Need, pk, None, removed_at__isnull=True)
    stage = _open_stage(need.stage_id)
    card = stage.card
    must_be_open(card)
    kept = _kept(need)
    missing = need.quantity - need.drawn - kept
    take = min(missing, shelf.free(need.part_id, card.site_id))
    if take <= 0:
        return need
    if need.reservation and kept:
        need.reservation = stock.change_reservation(need.reservation.pk, kept + take, by=by)
    else:
        need.reservation = stock.reserve(
            by=by, part_id=need.part_id, site_id=card.site_id, quantity=take,
            label=f"card {card.number}", wanted_on=card.promised_on,
        )  # fmt: skip
        need.save(update_fields=["reservation"])
    record(by, "need.kept", need, root=card, part=need.part.number, quantity=plain(kept + take), stage=called(stage))
    return need


@writes
def keep_for(stage_ids: Iterable[int], *, by: Person) -> list[Need]:
    """Keep all that these stages still need, in the order of the part (so that two cards don't lock crosswise)."""
    open_needs = Need.objects.filter(stage_id__in=tuple(stage_ids), removed_at__isnull=True, quantity__gt=F("drawn"))
    return [keep(pk, by=by) for pk in open_needs.order_by("part_id", "id").values_list("pk", flat=True)]


@writes
def let_go(pk: int, *, by: Person | None) -> Need:
    """Give back to the shelf what is kept for this need."""
    need = claim(Need, pk, None, removed_at__isnull=True)
    _let_go(need, by)
    record(by, "need.let-go", need, root=need.stage.card, part=need.part.number)
    return need


@writes
def let_go_for(stages: Collection[Stage], by: Person | None) -> list[Need]:
    """Give back to the shelf what is kept for stages on which nothing more is done."""
    kept = Need.objects.filter(stage__in=stages, removed_at__isnull=True, reservation__ended_at__isnull=True)
    # in the order of the parts, so that two cards don't lock crosswise
    found = kept.filter(reservation__isnull=False).order_by("part_id", "id").values_list("pk", flat=True)
    return [let_go(pk, by=by) for pk in list(found)]


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
    BadInput, and Refused when the stage can't take parts now or not enough is free (saying what is where and for whom).
    """
    stage, part = _open_stage(stage_id), _part(part_id)
    card = stage.card
    _check_takes_parts(stage)
    need = Need.objects.filter(stage_id=stage_id, part_id=part_id, removed_at__isnull=True).first()
    movements = stock.draw(
        by=by, part_id=part_id, site_id=card.site_id, quantity=quantity,
        label=f"card {card.number}, stage {stage.position}",
        reservation_id=need.reservation_id if need else None,
        bin_id=bin_id, lot_id=lot_id, override=override, holder="card",
    )  # fmt: skip
    now = clock.now()
    rows = Draw.objects.bulk_create(
        Draw(
            stage=stage, card=card, part=part, need=need, movement=m,
            quantity=-m.quantity, value=-m.value, at=now, by=by,
        )
        for m in movements
    )  # fmt: skip
    taken = sum((row.quantity for row in rows), ZERO)
    if need:
        Need.objects.filter(pk=need.pk).update(drawn=F("drawn") + taken)
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


@writes
def put_back(draw_id: int, *, by: Person, quantity: Decimal, bin_id: int | None = None, note: str = "") -> Draw:
    """Return unused `quantity` of a draw to its lot. Never what was fitted or spent, never more than was drawn.

    Also after the card was closed: the shelf must be right.
    """
    row = _locked(draw_id, closed=True)
    quantity = _open_quantity(row, quantity, "returned")
    movement = stock.put_back(
        by=by, movement_id=row.movement_id, quantity=quantity, bin_id=bin_id,
        label=f"card {row.card.number}, stage {row.stage.position}", reason=note, holder="card",
    )  # fmt: skip
    row.returned += quantity
    row.save(update_fields=["returned"])
    if row.need_id:
        Need.objects.filter(pk=row.need_id).update(drawn=F("drawn") - quantity)
    _event(row, DrawEvent.Kind.RETURN, quantity, by, note, movement=movement)
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


@writes
def fit_in_hand(stage_id: int, *, by: Person) -> list[Draw]:
    """All that is in hand for a stage is in the machine for good. Raises NotFound, Refused when nothing is in hand."""
    stage = _open_stage(stage_id)
    rows = list(Draw.objects.filter(stage=stage).annotate(left=in_hand()).filter(left__gt=0).order_by("pk"))
    if not rows:
        raise Refused(f"Nothing is in hand for {called(stage)}.", code="nothing-in-hand")
    return [fit(row.pk, by=by, quantity=row.left) for row in rows]


@writes
def fit(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """It is in the machine for good."""
    row = _locked(draw_id)
    quantity = _open_quantity(row, quantity, "fitted")
    row.fitted += quantity
    row.save(update_fields=["fitted"])
    _event(row, DrawEvent.Kind.FIT, quantity, by, note)
    return row


@writes
def trial_fit(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """It was fitted and comes apart again. A single-use part is spent all the same, and the stage needs another."""
    row = _locked(draw_id)
    quantity = _open_quantity(row, quantity, "fitted for trial")
    if row.part.single_use:
        _spend(row, quantity, by)
    _event(row, DrawEvent.Kind.TRIAL, quantity, by, note)
    return row


@writes
def spoil(draw_id: int, *, by: Person, quantity: Decimal, note: str) -> Draw:
    """It was spoiled before it was fitted; the stage needs another. `note` says how."""
    row = _locked(draw_id)
    if not note:
        raise field_error("note", "Say how it was spoiled.")
    _spend(row, _open_quantity(row, quantity, "spoiled"), by)
    _event(row, DrawEvent.Kind.SPOILED, quantity, by, note)
    return row


@writes
def take_off(draw_id: int, *, by: Person, quantity: Decimal, note: str = "") -> Draw:
    """What was fitted comes off again. A single-use part is spent then; another can go back in or be returned."""
    row = _locked(draw_id)
    quantity = _fitted_quantity(row, quantity)
    row.fitted -= quantity
    row.save(update_fields=["fitted"])
    if row.part.single_use:
        _spend(row, quantity, by)
    _event(row, DrawEvent.Kind.OFF, quantity, by, note)
    return row


@writes
def correct_fit(draw_id: int, *, by: Person, quantity: Decimal, note: str) -> Draw:
    """ "Fitted" was pressed by mistake: it is still in hand. `note` says why."""
    row = _locked(draw_id)
    if not note:
        raise field_error("note", "Say what happened.")
    quantity = _fitted_quantity(row, quantity)
    row.fitted -= quantity
    row.save(update_fields=["fitted"])
    _event(row, DrawEvent.Kind.CORRECT, quantity, by, note)
    return row


def _open_stage(stage_id: int) -> Stage:
    stage = Stage.objects.select_related("card").filter(pk=stage_id, removed_at__isnull=True).first()
    if stage is None:
        raise NotFound("There is no such stage.")
    return stage


def _part(part_id: int) -> Part:
    part = Part.objects.filter(pk=part_id).first()
    if part is None:
        raise NotFound("There is no such part.")
    if part.archived_at:
        raise Refused(f"{part.number} is archived. Use the part that replaces it.")
    return part


def _locked(draw_id: int, *, closed: bool = False) -> Draw:
    row = (
        Draw.objects.select_for_update(of=("self",)).select_related("part", "stage", "card").filter(pk=draw_id).first()
    )
    if row is None:
        raise NotFound("There is no such draw.")
    if not closed:
        must_be_open(row.card)
    return row


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


def _open_quantity(row: Draw, quantity: Decimal, verb: str) -> Decimal:
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


def _fitted_quantity(row: Draw, quantity: Decimal) -> Decimal:
    quantity = positive(quantity, row.part.unit)
    if quantity > row.fitted:
        raise field_error("quantity", f"Only {plain(row.fitted)} of this draw are fitted.")
    return quantity


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


def _kept(need: Need) -> Decimal:
    return need.reservation.quantity if need.reservation and need.reservation.ended_at is None else ZERO


def _let_go(need: Need, by: Person | None) -> None:
    if need.reservation_id and _kept(need):
        need.reservation = stock.release(need.reservation_id, by=by)


def _event(row: Draw, kind: str, quantity: Decimal, by: Person, note: str, movement: Any = None) -> DrawEvent:
    event = DrawEvent.objects.create(
        draw=row, kind=kind, quantity=quantity, movement=movement, note=note, at=clock.now(), by=by
    )
    record(
        by, f"part.{kind}", row, root=row.card, part=row.part.number, name=row.part.name, quantity=plain(quantity),
        stage=called(row.stage), note=note,
    )  # fmt: skip
    return event
