"""Parts wanted for a stage, and what is kept for them on the shelf."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal

from inventory.parts.models import Part
from inventory.stock import actions as stock
from inventory.stock import queries as shelf
from jobs.cards.actions.locking import called, lock_card, must_be_current, must_be_open
from jobs.cards.models import Stage
from jobs.draws.models import OPEN_NEED, WORK_LEFT, Need
from jobs.plans.models import PlanPart
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..supply import kept_for, label_of
from .locking import hold_needs, live_part, open_stage

ZERO = Decimal(0)


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
    stage, part = open_stage(stage_id), live_part(part_id)
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
    stage = open_stage(need.stage_id)
    part = live_part(need.part_id)
    quantity = positive(quantity, part.unit)
    if quantity < need.drawn:
        raise field_error("quantity", f"{plain(need.drawn)} are drawn already. Return some first, or ask for more.")
    before = need.quantity
    save_next(need, quantity=quantity, note=need.note if note is None else note)
    left = quantity - need.drawn
    if not left:
        let_go_of(need, by)
    elif kept_for(need) > left:
        keep_less(need, kept_for(need) - left, by)
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
    """Take a need off the list and let go of what is kept for it. Refused once something is drawn, and for what the
    customer declined: it stays listed, so that nobody draws it."""
    need = claim(Need, pk, expect, removed_at__isnull=True)
    stage = open_stage(need.stage_id)
    refuse_declined(need, "It stays on the list, so that nobody draws it.")
    if need.drawn:
        raise Refused("Something has been drawn for this. Return it first, or lower what is needed.")
    let_go_of(need, by)
    save_next(need, removed_at=clock.now())
    record(by, "need.removed", need, root=stage.card, part=need.part.number, stage=called(stage))
    return need


@writes
def keep(pk: int, *, by: Person) -> Need:
    """Keep what is free on the shelf for this need, up to what is still to be drawn. Fine when nothing is free."""
    need = hold_needs([pk])[pk]
    card = need.stage.card
    must_be_open(card)
    refuse_declined(need, "Nothing is kept for it without a new go-ahead.")
    missing = need.quantity - need.drawn - kept_for(need)
    take = min(missing, shelf.free(need.part_id, card.site_id))
    if take <= 0:
        return need
    keep_more(need, take, by)
    record(
        by, "need.kept", need, root=card, part=need.part.number, quantity=plain(kept_for(need)), stage=called(need.stage)
    )  # fmt: skip
    return need


def keep_more(need: Need, more: Decimal, by: Person) -> None:
    """Keep so much more on the shelf for a need that is held, with its stage and card at hand. Raises Refused when it isn't
    free."""
    kept, card = kept_for(need), need.stage.card
    if need.reservation and kept:
        need.reservation = stock.change_reservation(need.reservation.pk, kept + more, by=by)
        return
    need.reservation = stock.reserve(
        by=by, part_id=need.part_id, site_id=card.site_id, quantity=more,
        label=label_of(card.number), wanted_on=card.promised_on,
    )  # fmt: skip
    need.save(update_fields=["reservation"])


def keep_less(need: Need, less: Decimal, by: Person) -> None:
    """Give back so much of what is kept for a need that is held; all of it when it isn't more."""
    kept = kept_for(need)
    if need.reservation is None or not kept:
        return
    if less >= kept:
        need.reservation = stock.release(need.reservation.pk, by=by)
    else:
        need.reservation = stock.change_reservation(need.reservation.pk, kept - less, by=by)


@writes
def keep_for(stage_ids: Iterable[int], *, by: Person) -> list[Need]:
    """Keep all that these stages still need, in the order of the part (so that two cards don't lock crosswise). A stage that
    is finished needs nothing more, nor does one of a card that is."""
    open_needs = Need.objects.filter(OPEN_NEED, WORK_LEFT, stage_id__in=tuple(stage_ids))
    return [keep(pk, by=by) for pk in open_needs.order_by("part_id", "id").values_list("pk", flat=True)]


@writes
def keep_for_card(card_id: int, *, by: Person) -> list[Need]:
    """Keep all that the whole card still needs, as far as it is free. Raises NotFound, Refused (the card is finished, handed
    over or cancelled)."""
    must_be_open(lock_card(card_id))
    return keep_for(Stage.objects.filter(card=card_id).values_list("pk", flat=True), by=by)


@writes
def let_go(pk: int, *, by: Person | None) -> Need:
    """Give back to the shelf what is kept for this need."""
    need = claim(Need, pk, None, removed_at__isnull=True)
    let_go_of(need, by)
    record(by, "need.let-go", need, root=need.stage.card, part=need.part.number)
    return need


@writes
def let_go_for(stages: Collection[Stage], by: Person | None) -> list[Need]:
    """Give back to the shelf what is kept for stages on which nothing more is done."""
    kept = Need.objects.filter(stage__in=stages, removed_at__isnull=True, reservation__ended_at__isnull=True)
    # in the order of the parts, so that two cards don't lock crosswise
    found = kept.filter(reservation__isnull=False).order_by("part_id", "id").values_list("pk", flat=True)
    return [let_go(pk, by=by) for pk in list(found)]


def refuse_declined(need: Need, so: str) -> None:
    if need.declined_at:
        raise Refused(f"The customer declined {need.part.number} ({need.declined_ref}). {so}", code="part-declined")


def let_go_of(need: Need, by: Person | None) -> None:
    if need.reservation_id and kept_for(need):
        need.reservation = stock.release(need.reservation_id, by=by)
