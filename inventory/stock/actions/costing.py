from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal

from django.db.models import Q

from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import worth
from ..models import Balance, Closing, ClosingLine, Lot, Movement, Revaluation, StockLevel
from ..posting import Entry, lock, post
from ..valuation import Difference, Gone, difference
from .moving import the_lot
from .receiving import checked_cost

ZERO = Decimal(0)
_KIND = Movement.Kind
KINDS_OF_USE = (_KIND.DRAW, _KIND.SCRAP, _KIND.SENT_BACK, _KIND.COUNT, _KIND.KIT)
SETTLED = timedelta(hours=1)  # a month is added up when no posting of it can still be under way


@writes
def revalue(*, by: Person, lot_id: int, new_unit_cost: Decimal, reason: str) -> Revaluation:
    """The lot turned out to cost `new_unit_cost` per unit (before tax, landed, in the shop's currency): the supplier's invoice
    came late and says so. `reason` names it.

    Nothing that was posted is changed. REVALUE movements post the difference: on what still lies there it goes into the value
    of the stock, on what was used it is taken out again under the name of each use, so that the cost of a job gets a row
    more. From now on the lot is drawn, brought back and moved at the new cost. Containers opened from the lot, and the one it
    was opened from, came in at the same price and follow. Answers the row of this lot.

    Raises NotFound, BadInput (a negative or absurd cost, no reason, the cost it has already), Refused when none of it ever
    came in.
    """
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    cost = checked_cost(new_unit_cost, field="new_unit_cost")
    lot = the_lot(lot_id)
    levels = _all_levels(lot)
    family = _family(lot)
    lot = next(x for x in family if x.pk == lot_id)  # again: inside the lock
    if cost == lot.cost:
        raise field_error("new_unit_cost", f"Lot {lot.number} costs that already.", code="same-cost")
    posting = uuid.uuid4()
    rows = {x.pk: _post_difference(by, x, cost, reason, levels, posting) for x in family}
    made = rows[lot_id]
    if made is None:
        raise Refused(f"Nothing of lot {lot.number} ever lay here, so nothing can cost more.", code="empty")
    record(
        by, "lot.revalued", lot, root=lot.part, cost=[made.was, cost], reason=reason, on_hand_value=made.on_hand_value,
        used_value=made.used_value,
    )  # fmt: skip
    return made


def _all_levels(lot: Lot) -> dict[int, StockLevel]:
    """The levels of the part at every site, locked, by site."""
    sites = StockLevel.objects.filter(part_id=lot.part_id).values_list("site_id", flat=True)
    return {site: level for (_, site), level in lock({(lot.part_id, site) for site in sites}).items()}


def _family(lot: Lot) -> list[Lot]:
    """The lot and whatever was opened from the same delivery, by key. Of the same part only: what a kit was broken into has
    a cost of its own."""
    root = lot
    while root.opened_from_id and root.opened_from and root.opened_from.part_id == lot.part_id:
        root = root.opened_from
    found, new = {root.pk}, {root.pk}
    while new:
        new = set(Lot.objects.filter(opened_from__in=new, part_id=lot.part_id).values_list("pk", flat=True)) - found
        found |= new
    return list(Lot.objects.select_related("part").filter(pk__in=found).order_by("pk"))


def _post_difference(
    by: Person, lot: Lot, cost: Decimal, reason: str, levels: dict[int, StockLevel], posting: uuid.UUID
) -> Revaluation | None:
    on_hand = dict(Balance.objects.filter(lot=lot, on_hand__gt=0).values_list("bin_id", "on_hand"))
    used = list(_gone(lot))
    found = difference(lot.cost, cost, on_hand, used)
    sites = dict(Movement.objects.filter(lot=lot).values_list("bin_id", "site_id"))
    entries = [
        Entry(Movement.Kind.REVALUE, levels[sites[bin_id]], lot.pk, bin_id, ZERO, ZERO, value=amount, reason=reason)
        for bin_id, amount in sorted(found.by_bin.items())
    ]
    labels = dict(Movement.objects.filter(pk__in=[g.movement_id for g in used]).values_list("pk", "label"))
    entries += [
        Entry(
            Movement.Kind.REVALUE, levels[sites[g.bin_id]], lot.pk, g.bin_id, ZERO, ZERO, value=amount, reason=reason,
            label=labels[g.movement_id], reverses_id=g.movement_id,
        )
        for g, amount in found.by_use
    ]  # fmt: skip
    if not entries:
        return None
    movements = post(by, entries, posting=posting)
    made = _written(lot, cost, reason, posting, movements[0], found, by)
    lot.cost_now = cost
    lot.save(update_fields=["cost_now"])
    return made


def _written(
    lot: Lot, cost: Decimal, reason: str, posting: uuid.UUID, since: Movement, found: Difference, by: Person
) -> Revaluation:
    return Revaluation.objects.create(
        lot=lot, was=lot.cost, now=cost, on_hand=found.on_hand, used=found.used, on_hand_value=found.on_hand_value,
        used_value=found.used_value, reason=reason, posting=posting, since=since, at=clock.now(), by=by,
    )  # fmt: skip


def _gone(lot: Lot) -> Iterable[Gone]:
    """What left the lot: each draw less what came back of it, each scrap, sending back and count difference."""
    back: dict[int, Decimal] = {}
    returns = Movement.objects.filter(lot=lot, kind=Movement.Kind.RETURN)
    for drawn, quantity in returns.values_list("reverses_id", "quantity"):
        if drawn is not None:
            back[drawn] = back.get(drawn, ZERO) + quantity
    came_in = Q(kind=Movement.Kind.KIT, quantity__gt=0)  # out of a kit: how the lot began, no use of it
    uses = Movement.objects.filter(lot=lot).filter(Q(kind__in=KINDS_OF_USE) & ~came_in).order_by("pk")
    for pk, bin_id, quantity in uses.values_list("pk", "bin_id", "quantity"):
        yield Gone(pk, bin_id, quantity + back.get(pk, ZERO))


@writes
def close_months(*, by: Person | None = None) -> list[Closing]:
    """Add up every month that has ended and isn't added up yet, the oldest first. Twice changes nothing. Raises nothing."""
    made = []
    for until in worth.unclosed(clock.now() - SETTLED):
        rows = worth.at(until)
        month = Closing.objects.create(until=until, made_at=clock.now())
        ClosingLine.objects.bulk_create(
            [
                ClosingLine(
                    closing=month, part_id=part, quantity=w.quantity, value=w.value, average_value=w.average_value
                )
                for part, w in rows.items()
            ],
            batch_size=1000,
        )
        record(by, "stock.month-closed", month, until=until, parts=len(rows))
        made.append(month)
    return made
