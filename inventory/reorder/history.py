"""Demand by month out of the ledger: what was drawn less what came back."""

# ruff: noqa: S608 - the names in this SQL are those of our own tables, its numbers are ours
from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final

from django.db import connection
from django.utils import timezone

from inventory.stock.models import Movement
from shop.kernel import clock

MONTHS: Final = 36
PARTS_AT_ONCE: Final = 5_000
ROWS_AT_ONCE: Final = 20_000


@dataclass(frozen=True)
class Months:
    """Whole months of the shop's calendar, oldest first; the present one, which isn't over, is not among them."""

    first: date
    count: int

    def starts(self) -> list[datetime]:
        """The moments at which each begins, and the one at which the last ends."""
        return [_moment(_after(self.first, n)) for n in range(self.count + 1)]


def months() -> Months | None:
    """The last three years, or as far back as the ledger goes; None before there is one whole month."""
    this = clock.today().replace(day=1)
    oldest = Movement.objects.order_by("at").values_list("at", flat=True).first()
    if oldest is None:
        return None
    begun = timezone.localdate(oldest).replace(day=1)
    known = (this.year - begun.year) * 12 + this.month - begun.month
    count = min(MONTHS, known)
    return Months(_after(this, -count), count) if count > 0 else None


def demand(of: Months) -> Iterator[tuple[int, int, int, Any]]:
    """(part, site, month counted from 0, quantity) wherever something was asked for. Quantities are binary fractions, for the
    statistics; months with more returned than drawn are left out."""
    bounds = [connection.ops.adapt_datetimefield_value(at) for at in of.starts()]
    case, values = _month_of(bounds[1:-1], 0)
    kind = "DOUBLE PRECISION" if connection.vendor == "postgresql" else "REAL"
    statement = (
        f"SELECT part_id, site_id, {case} AS month, CAST(-SUM(quantity) AS {kind}) FROM inventory_stock_movement"
        " WHERE part_id > %s AND part_id <= %s AND kind IN ('draw', 'return') AND at >= %s AND at < %s"
        " GROUP BY 1, 2, 3 HAVING SUM(quantity) < 0 ORDER BY 1, 2, 3"
    )
    last = Movement.objects.order_by("-part_id").values_list("part_id", flat=True).first() or 0
    for above in range(0, last, PARTS_AT_ONCE):
        with connection.cursor() as cursor:
            cursor.execute(statement, [*values, above, above + PARTS_AT_ONCE, bounds[0], bounds[-1]])
            while rows := cursor.fetchmany(ROWS_AT_ONCE):
                yield from rows


def _month_of(bounds: Sequence[Any], first: int) -> tuple[str, list[Any]]:
    """SQL that tells in which month `at` lies, by halving: `bounds` part the months from number `first` on."""
    if not bounds:
        return str(first), []
    middle = len(bounds) // 2
    before, low = _month_of(bounds[:middle], first)
    after, high = _month_of(bounds[middle + 1 :], first + middle + 1)
    return f"CASE WHEN at < %s THEN {before} ELSE {after} END", [bounds[middle], *low, *high]


def _after(day: date, months: int) -> date:
    at = day.year * 12 + day.month - 1 + months
    return date(at // 12, at % 12 + 1, 1)


def _moment(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))
