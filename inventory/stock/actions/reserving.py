from __future__ import annotations

from collections.abc import Collection
from datetime import date
from decimal import Decimal

from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, Refused
from shop.kernel.quantity import positive
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..choosing import Place, order
from ..models import Reservation, StockLevel
from ..posting import lock, lying
from ..refusing import not_free

ZERO = Decimal(0)


@writes
def reserve(
    *, by: Person, part_id: int, site_id: int, quantity: Decimal, label: str, wanted_on: date | None = None
) -> Reservation:
    """Promise `quantity` of what is free to what `label` names ("card 26-0031"). What is free shrinks, what is on hand
    doesn't. Raises NotFound, BadInput, Refused (code "not-enough")."""
    label = clean_line(label, field="label", required=True, max_length=120)
    level = lock([(part_id, site_id)]).get((part_id, site_id))
    if level is None:
        part = Part.objects.filter(pk=part_id).first()
        if part is None:
            raise NotFound("There is no such part.")
        positive(as_decimal(quantity, "quantity"), part.unit)
        raise not_free(part, site_id, quantity, ZERO, [], [], doing="Keep")
    quantity = positive(as_decimal(quantity, "quantity"), level.part.unit)
    _refuse_beyond(level, quantity, but=None)
    reservation = Reservation.objects.create(
        part_id=part_id, site_id=site_id, quantity=quantity, label=label, wanted_on=wanted_on, created_at=clock.now()
    )
    _promise(level, quantity)
    record(by, "reservation.made", reservation, root=level.part, quantity=quantity, label=label)
    return reservation


@writes
def change_reservation(pk: int, quantity: Decimal, *, by: Person) -> Reservation:
    """Promise another quantity (above zero) in its place. Raises NotFound, BadInput, Refused (not enough is free, or it
    has ended)."""
    level, reservation = _open(pk)
    quantity = positive(as_decimal(quantity, "quantity"), level.part.unit)
    if reservation.ended_at is not None:
        raise Refused("This reservation has ended. Make a new one.", code="reservation-ended")
    before = reservation.quantity
    if quantity > before:
        _refuse_beyond(level, quantity - before, but=pk)
    reservation.quantity = quantity
    reservation.save(update_fields=["quantity"])
    _promise(level, quantity - before)
    record(by, "reservation.changed", reservation, root=level.part, quantity=[before, quantity])
    return reservation


@writes
def hold(places: Collection[tuple[int, int]]) -> None:
    """Until the commit nobody else draws, promises or takes in any of these (part, site): for a room that weighs several
    reservations against each other. It is called before that room reads or locks rows of its own."""
    lock(places)


@writes
def release(reservation_id: int, *, by: Person | None) -> Reservation:
    """Give back what is still promised. Nothing happens when it has ended already. Raises NotFound."""
    level, reservation = _open(reservation_id)
    if reservation.ended_at is None:
        _end(level, reservation, by, "reservation.released")
    return reservation


def use_up(level: StockLevel, reservation: Reservation, quantity: Decimal) -> None:
    """A draw of `quantity` takes what was promised to it. Both rows are saved by the posting."""
    used = min(reservation.quantity, quantity)
    reservation.quantity -= used
    level.reserved -= used
    if not reservation.quantity:
        reservation.ended_at = clock.now()


def cut(level: StockLevel, kept: list[Reservation], left: Decimal, by: Person) -> None:
    """A count found less than was promised: shorten promises until they fit into `left`, the last wanted first."""
    for reservation in reversed(kept):
        over = level.reserved - left
        if over <= 0:
            return
        before = reservation.quantity
        reservation.quantity = max(before - over, ZERO)
        level.reserved -= before - reservation.quantity
        if not reservation.quantity:
            reservation.ended_at = clock.now()
        reservation.save(update_fields=["quantity", "ended_at"])
        record(
            by, "reservation.cut", reservation, root=level.part, label=reservation.label,
            quantity=[before, reservation.quantity],
        )  # fmt: skip


def free_of(level: StockLevel) -> tuple[Decimal, list[Place], list[Place]]:
    """(free, usable places, expired places): what isn't in quarantine, expired or promised. Inside the lock."""
    today = clock.today()
    there = [p for p in order(lying(level).places) if not p.quarantine]
    good = [p for p in there if not p.expired(today)]
    return (
        max(sum((p.on_hand for p in good), ZERO) - level.reserved, ZERO),
        good,
        [p for p in there if p.expired(today)],
    )


def _refuse_beyond(level: StockLevel, more: Decimal, *, but: int | None) -> None:
    free, good, expired = free_of(level)
    if more > free:
        raise not_free(level.part, level.site_id, more, free, good, expired, own=but, doing="Keep")


def _promise(level: StockLevel, more: Decimal) -> None:
    level.reserved += more
    level.save(update_fields=["reserved"])


def _open(pk: int) -> tuple[StockLevel, Reservation]:
    """The locked level and the reservation as it is inside the lock; its part and site never change."""
    pair = Reservation.objects.filter(pk=pk).values_list("part_id", "site_id").first()
    if pair is None:
        raise NotFound("There is no such reservation.")
    level = lock([pair])[pair]
    return level, Reservation.objects.get(pk=pk)


def _end(level: StockLevel, reservation: Reservation, by: Person | None, verb: str) -> None:
    given_back = reservation.quantity
    reservation.quantity = ZERO
    reservation.ended_at = clock.now()
    reservation.save(update_fields=["quantity", "ended_at"])
    _promise(level, -given_back)
    record(by, verb, reservation, root=level.part, label=reservation.label, quantity=given_back)
