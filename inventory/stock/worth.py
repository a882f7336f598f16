"""What the stock was worth at a moment: the last month added up before it, and the movements since.

A value at any date reads at most a month of movements, by the index on their time; the value of now is read from the
balances (`queries.levels`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.utils import timezone

from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.rounding import round_money

from .models import Closing, ClosingLine, Movement
from .valuation import Row, Worth, kept, roll

ZERO = Decimal(0)
CHUNK = 5000


def end_of(day: date) -> datetime:
    """The moment a day ends in the shop's time zone."""
    return timezone.make_aware(datetime.combine(day + timedelta(days=1), time.min))


def unclosed(before: datetime) -> Iterator[datetime]:
    """The ends of months that are over before `before` and not added up yet, from the first movement on."""
    last = Closing.objects.order_by("-until").values_list("until", flat=True).first()
    start = last or Movement.objects.order_by("at").values_list("at", flat=True).first()
    if start is None:
        return
    until = _next_month(start)
    while until <= before:
        yield until
        until = _next_month(until)


def _next_month(moment: datetime) -> datetime:
    day = timezone.localdate(moment).replace(day=1) + timedelta(days=32)
    return timezone.make_aware(datetime.combine(day.replace(day=1), time.min))


def at(moment: datetime, *, known_before: datetime | None = None) -> dict[int, Worth]:
    """What there was of each part just before `moment`, by part. Parts without stock and value are left out.
    `known_before`: use only months that ended before then."""
    months = Closing.objects.filter(until__lte=moment)
    if known_before is not None:
        months = months.filter(until__lt=known_before)
    start = months.order_by("-until").first()
    found: dict[int, Worth] = {}
    if start is not None:
        lines = ClosingLine.objects.filter(closing=start)
        for part, quantity, value, average in lines.values_list("part_id", "quantity", "value", "average_value"):
            found[part] = Worth(quantity, value, average)
    moved = Movement.objects.filter(at__lt=moment)
    if start is not None:
        moved = moved.filter(at__gte=start.until)
    by_part: dict[int, list[Row]] = {}
    rows = moved.order_by("id").values_list("part_id", "kind", "quantity", "value")
    for part, kind, quantity, value in rows.iterator(chunk_size=CHUNK):
        by_part.setdefault(part, []).append((kind, quantity, value))
    for part, its in by_part.items():
        found[part] = kept(roll(found.get(part, Worth()), its))
    return {part: w for part, w in found.items() if w.quantity or w.value or w.average_value}


@dataclass(frozen=True, slots=True)
class Line:
    """One part in the report: its value by lots and by moving average, each rounded to the cent; the average of a unit is
    unrounded (None when nothing is there)."""

    part: Part
    quantity: Decimal
    value: Decimal
    average_value: Decimal
    average: Decimal | None


@dataclass(frozen=True, slots=True)
class Report:
    """Value of the stock at the end of a day. The totals are the sums of the lines as they are shown."""

    day: date
    currency: str
    lines: list[Line]

    @property
    def value(self) -> Decimal:
        return sum((line.value for line in self.lines), ZERO)

    @property
    def average_value(self) -> Decimal:
        return sum((line.average_value for line in self.lines), ZERO)

    def by_kind(self) -> list[tuple[str, Decimal, Decimal]]:
        """Kind of part, value by lots and by moving average, the largest value first; they add up to the totals."""
        found: dict[str, tuple[Decimal, Decimal]] = {}
        for line in self.lines:
            kind = line.part.get_kind_display()
            value, average = found.get(kind, (ZERO, ZERO))
            found[kind] = (value + line.value, average + line.average_value)
        return sorted(((kind, *both) for kind, both in found.items()), key=lambda x: (-x[1], x[0]))


def report(day: date, currency: str) -> Report:
    """Value of the stock at the end of `day` (today: at this moment), by part number."""
    found = at(min(end_of(day), clock.now() + timedelta(microseconds=1)))
    parts = Part.objects.only("number", "name", "unit", "kind").in_bulk(list(found))
    lines = [
        Line(
            parts[pk], w.quantity, round_money(w.value, currency), round_money(w.average_value, currency), w.average
        )
        for pk, w in found.items()
    ]  # fmt: skip
    return Report(day, currency, sorted((x for x in lines if _shown(x)), key=lambda x: (x.part.number, x.part.pk)))


def month_ends(day: date, currency: str, count: int = 12) -> list[tuple[date, Decimal]]:
    """The value by lots at the ends of the last months before `day`'s end, and at `day` itself, the oldest first: each what
    `report` of that day comes to. Months that were added up are read from there in one query; before the first movement there
    was nothing."""
    days = clock.month_ends(day, count)
    ends = {end_of(d): d for d in days}
    found: dict[date, Decimal] = {}
    for until in Closing.objects.filter(until__in=list(ends)).values_list("until", flat=True):
        found[ends[until]] = ZERO
    lines = ClosingLine.objects.filter(closing__until__in=list(ends)).values_list("closing__until", "value")
    for until, value in lines.iterator(chunk_size=CHUNK):
        found[ends[until]] += round_money(value, currency)
    if len(found) < len(days):
        first = Movement.objects.order_by("at").values_list("at", flat=True).first()
        found |= {d: ZERO for until, d in ends.items() if d not in found and (first is None or until <= first)}
    return [(d, found[d] if d in found else report(d, currency).value) for d in days]


def _shown(line: Line) -> bool:
    return bool(line.quantity or line.value or line.average_value)
