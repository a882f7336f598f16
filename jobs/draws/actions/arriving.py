"""Ordered goods come: they are kept for whom they were promised, in the same write."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import date
from decimal import Decimal

from inventory.buying.arrivals import Arrived
from inventory.stock import queries as shelf
from jobs.cards.actions.locking import called
from jobs.draws.models import OPEN_NEED, WORK_LEFT, Need, Promise
from shop.kernel.decimals import plain
from shop.kernel.versions import claim
from shop.people.models import Person
from shop.trail.record import record

from ..allotting import Awaited, allot
from ..supply import Situation, open_needs, situation
from .locking import hold_cards
from .needs import keep_more

ZERO = Decimal(0)
_FIRST = date.min  # it is here: given out before all that is still to come


def hold_their_cards(part_ids: Collection[int]) -> None:
    """Cards that still need these parts are held before the stock is locked, as everywhere."""
    hold_cards(need.stage.card_id for need in open_needs(part_ids))


def keep_what_came(by: Person, arrived: Arrived) -> None:
    """Keep what came of an order line for the needs that were to get it: first those it was ordered for or moved to, then in the
    order of the promised dates. What waits for the customer's go-ahead gets only what was ordered for its card."""
    its = situation(arrived.part_id, arrived.site_id)
    if not its.needs:
        return
    given = _given(its, arrived)
    hold_cards(its.needs[pk].stage.card_id for pk in given)
    still = Need.objects.filter(OPEN_NEED, WORK_LEFT, pk__in=given).order_by("pk").values_list("pk", flat=True)
    left = min(arrived.quantity, shelf.free(arrived.part_id, arrived.site_id))
    for pk in list(still):
        need = claim(Need, pk, None)
        need.stage = its.needs[pk].stage
        card = need.stage.card
        quantity = min(given[pk], left, need.quantity - need.drawn)
        if quantity <= 0:
            continue
        keep_more(need, quantity, by)
        left -= quantity
        _came(need, arrived.order_line_id, quantity)
        order = its.lines[arrived.order_line_id].order if arrived.order_line_id in its.lines else ""
        record(
            by, "need.came", need, root=card, part=need.part.number, quantity=plain(quantity), order=order,
            stage=called(need.stage),
        )  # fmt: skip


def _given(its: Situation, arrived: Arrived) -> dict[int, Decimal]:
    """What of the arrival each need gets: as it was allotted while it was still on its way, apart from what was free then."""
    line = arrived.order_line_id
    before = its.awaited.get(line)
    came = Awaited(line, arrived.quantity, _FIRST, arrived.label)
    others = [a for a in its.awaited.values() if a.line_id != line]
    if before is not None:  # some of the line still is to come
        others.append(replace(before, line_id=-line))
    free = max(its.free - arrived.quantity, ZERO)
    wants = its.wants()
    found = allot(wants, free, [came, *others], its.said)
    promised = {s.need_id for s in its.said if s.line_id == line}
    return {
        w.need_id: quantity
        for w in wants
        if (quantity := found[w.need_id].of(line)) > 0
        and (w.agreed or w.need_id in promised or (arrived.label and w.label == arrived.label))
    }


def _came(need: Need, order_line_id: int, quantity: Decimal) -> None:
    for row in Promise.objects.filter(need=need, order_line=order_line_id):
        if row.quantity <= quantity:
            row.delete()
        else:
            row.quantity -= quantity
            row.save(update_fields=["quantity"])
