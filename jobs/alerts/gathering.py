"""What the rooms below know of today, read in a few queries and handed to `telling` and `danger`.

A source is a function of the day that answers findings; what else shall be told is one more in `SOURCES`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import F, QuerySet
from django.utils import timezone

from inventory.buying import queries as buying
from inventory.stock import queries as shelf
from inventory.stock.models import Balance, Bin
from jobs.draws import supply
from jobs.draws.models import Need
from jobs.draws.queries import waited_for

from . import danger, telling
from .telling import NEAR, Finding

ZERO = Decimal(0)


def low(today: date) -> list[Finding]:
    coming: dict[int, Decimal] = {}
    for line in buying.coming():
        coming[line.part_id] = coming.get(line.part_id, ZERO) + line.quantity
    parts = [
        telling.OnShelf(p.pk, p.number, p.name, p.unit, p.left, p.reorder_point or ZERO)  # type: ignore[attr-defined]
        for p in shelf.low()
    ]
    return telling.low(parts, coming)


def ageing(today: date) -> list[Finding]:
    """What lies in quarantine is looked after already."""
    rows = shelf.expiring(today + timedelta(days=NEAR[-1][0])).exclude(bin__kind=Bin.Kind.QUARANTINE)
    lots: dict[int, list[Balance]] = {}
    for row in rows:
        lots.setdefault(row.lot_id, []).append(row)
    return telling.ageing(map(_ageing, lots.values()), today)


def _ageing(rows: list[Balance]) -> telling.Ageing:
    lot, part = rows[0].lot, rows[0].part
    quantity = sum((r.on_hand for r in rows), ZERO)
    bins = tuple(dict.fromkeys(r.bin.code for r in rows))
    last = lot.last_day or date.max
    return telling.Ageing(lot.pk, lot.number, part.pk, f"{part.number} {part.name}", part.unit, quantity, bins, last)


def overdue(today: date) -> list[Finding]:
    lines = []
    for row in buying.order_lines(overdue=True):
        asked = row.order.chased_at
        lines.append(
            telling.Awaited(
                row.order_id, row.order.number, row.order.supplier.name, row.due_on or today,
                timezone.localdate(asked) if asked else None,
            )
        )  # fmt: skip
    return telling.overdue(lines, today)


def in_danger(today: date) -> list[Finding]:
    """Of stages that wait for parts on cards with a promised day. Who gets what of the orders is as the cards say it."""
    kept, missing = [], []
    for need in waited_for().filter(stage__card__promised_on__isnull=False):
        promise = need.reservation
        held = promise.quantity if promise and promise.ended_at is None else ZERO
        if held > 0:
            kept.append(_wanted(need, held))
        if need.quantity - need.drawn - held > 0:
            missing.append(_wanted(need, need.quantity - need.drawn - held))
    lying = [
        danger.Lying(part, site, quantity, last)
        for part, site, quantity, last in _drawable({w.part_id for w in kept}).values_list(
            "part_id", "bin__site_id", "on_hand", "last_day"
        )
    ]
    supplies = supply.supplies({w.part_id for w in missing})
    late = danger.comes_late([x for w in missing if (x := _arriving(w, supplies.get(w.need_id)))], today)
    return sorted(danger.goes_bad(kept, lying, today) + late, key=lambda f: (f.due_on or today, f.key))


def _arriving(wanted: danger.Wanted, its: supply.Supply | None) -> danger.Arriving | None:
    """None: it is free on the shelf, or nobody knows when it comes."""
    if its is None or its.by is None:
        return None
    last = max(its.coming, key=lambda share: (share.line.due_on or date.min, share.line.pk))
    return danger.Arriving(wanted, its.on_order, its.by, last.line.order)


def _drawable(part_ids: set[int]) -> QuerySet[Balance]:
    rows = Balance.objects.filter(part__in=part_ids, on_hand__gt=0).exclude(bin__kind=Bin.Kind.QUARANTINE)
    return rows.annotate(last_day=shelf.LAST_DAY).order_by(F("last_day").asc(nulls_last=True), "id")


def _wanted(need: Need, quantity: Decimal) -> danger.Wanted:
    stage, part = need.stage, need.part
    return danger.Wanted(
        need.pk, part.pk, stage.card.site_id, quantity, stage.card.promised_on or date.max, stage.card_id,
        stage.card.number, f"{part.number} {part.name}", part.unit, stage.mechanic_id,
    )  # fmt: skip


SOURCES: list[Callable[[date], Iterable[Finding]]] = [in_danger, ageing, overdue, low]


def gather(today: date) -> list[Finding]:
    """All there is to tell today, of each kind at most so many as somebody reads."""
    return telling.few(one for source in SOURCES for one in source(today))
