"""Hours from intervals: plain values in, whole seconds and Decimal hours out. Safe across changes of summer time: lengths
are taken between moments in UTC, days and breaks on the shop's wall clock."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from decimal import ROUND_HALF_UP, Decimal

from shop.business.working import Calendar, Hours

LONGEST = timedelta(hours=16)  # of one booking
LATE_WORK = timedelta(hours=2)  # a clock may run this long past the day's end before it counts as forgotten
HOUR_PLACES = Decimal("0.0001")


@dataclass(frozen=True)
class ShopTime:
    """The shop's working days on the shop's own clock."""

    calendar: Calendar
    zone: tzinfo

    def on(self, day: date) -> Hours | None:
        return self.calendar.on(day)

    def at(self, day: date, clock: time) -> datetime:
        """The moment when the shop's clock shows `clock` on `day`, in UTC (the first of two when it shows it twice)."""
        return datetime.combine(day, clock, tzinfo=self.zone).astimezone(UTC)


@dataclass(frozen=True)
class Interval:
    """Half-open [start, end); `end` None: still running."""

    start: datetime
    end: datetime | None
    label: str = ""


def seconds_between(start: datetime, end: datetime) -> int:
    """Whole seconds from start to end. Two times of one zone would be subtracted on the wall clock, an hour wrong
    across a change of summer time; so both go to UTC first."""
    return int((end.astimezone(UTC) - start.astimezone(UTC)).total_seconds())


def seconds_worked(start: datetime, end: datetime, break_minutes: int) -> int:
    """Length without the break, never below zero."""
    return max(0, seconds_between(start, end) - 60 * break_minutes)


def hours_of(seconds: int) -> Decimal:
    """Decimal hours, rounded half up to 0.0001 h (0.36 s). Add seconds first and turn the sum into hours."""
    return (Decimal(seconds) / 3600).quantize(HOUR_PLACES, ROUND_HALF_UP)


def worked_hours(start: datetime, end: datetime, break_minutes: int = 0) -> Decimal:
    """Hours worked in one interval without its break."""
    return hours_of(seconds_worked(start, end, break_minutes))


def break_minutes(start: datetime, end: datetime, shop: ShopTime) -> int:
    """How many minutes of the shop's breaks lie inside the interval, rounded to the nearest minute."""
    seconds = 0
    for day in _days(start, end, shop):
        hours = shop.on(day)
        if hours is None or hours.break_starts is None or hours.break_ends is None:
            continue
        first = max(start.astimezone(UTC), shop.at(day, hours.break_starts))
        last = min(end.astimezone(UTC), shop.at(day, hours.break_ends))
        seconds += max(0, int((last - first).total_seconds()))
    return (seconds + 30) // 60


def day_end(start: datetime, shop: ShopTime) -> datetime:
    """When the working day of a clock started at `start` ends, in UTC: closing time, or midnight when the clock was
    started after it or on a closed day."""
    day = start.astimezone(shop.zone).date()
    hours = shop.on(day)
    if hours is not None:
        ends = shop.at(day, hours.ends)
        if start.astimezone(UTC) < ends:
            return ends
    return shop.at(day + timedelta(days=1), time(0))


def closing(start: datetime, now: datetime, shop: ShopTime) -> tuple[datetime, bool]:
    """When a clock that runs since `start` is to end if it is stopped at `now`, and whether it was forgotten.

    Who works past closing time isn't cut off: forgotten is a clock that still runs two hours after the day's end, or
    past midnight. It then ends with the day.
    """
    ends = day_end(start, shop)
    midnight = shop.at(start.astimezone(shop.zone).date() + timedelta(days=1), time(0))
    if now.astimezone(UTC) > min(ends + LATE_WORK, max(midnight, ends)):
        return ends, True
    return now, False


def overlapping(wanted: Interval, others: Iterable[Interval]) -> Interval | None:
    """The first of `others` that shares time with `wanted`. Touching ends don't overlap; empty intervals never do."""
    if wanted.end is not None and wanted.end <= wanted.start:
        return None
    for other in others:
        if other.end is not None and other.end <= other.start:
            continue
        starts_before_end = wanted.end is None or other.start < wanted.end
        ends_after_start = other.end is None or other.end > wanted.start
        if starts_before_end and ends_after_start:
            return other
    return None


def by_day(intervals: Sequence[tuple[datetime, datetime, int]], zone: tzinfo) -> dict[date, int]:
    """Seconds worked by the day on which each interval (start, end, break minutes) began in `zone`."""
    found: dict[date, int] = {}
    for start, end, minutes in intervals:
        day = start.astimezone(zone).date()
        found[day] = found.get(day, 0) + seconds_worked(start, end, minutes)
    return found


def _days(start: datetime, end: datetime, shop: ShopTime) -> Iterable[date]:
    day = start.astimezone(shop.zone).date()
    last = end.astimezone(shop.zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)
