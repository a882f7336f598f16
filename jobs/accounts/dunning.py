"""When which letter is due, what interest comes to, how old a debt is, how long a machine stands. Plain values, no table.

All terms are the owner's; the arithmetic takes them as given.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from shop.kernel.rounding import EXACT, round_money

YEAR = 365  # days that interest a year is counted over
LAST = 3
BANDS = (0, 30, 60, 90)  # days late: not due, up to 30, up to 60, up to 90, more
ZERO = Decimal(0)


def next_level(due_on: date, sent: Iterable[tuple[int, date]], days: Mapping[int, int], today: date) -> int | None:
    """The letter that an open invoice has coming today, or None. `sent`: level and day of earlier ones; `days`: by level, after
    the due day or the letter before."""
    level, since = max(sent, default=(0, due_on))
    if level >= LAST:
        return None
    # on the due day itself nothing is late yet
    return level + 1 if today >= since + timedelta(days=max(1, days[level + 1])) else None


@dataclass(frozen=True, slots=True)
class Span:
    """Days in a row on which one amount was open and one percentage a year held."""

    amount: Decimal
    percent: Decimal
    days: int


def spans(
    due_on: date,
    until: date,
    charged: Decimal,
    settled: Iterable[tuple[date, Decimal]],
    rates: Sequence[tuple[date | None, Decimal]],
) -> list[Span]:
    """The days after the due day up to `until`, the last included, parted where what is open or the percentage changes.

    `settled`: by day, what was taken off the `charged` amount, below zero what came back; the day itself still counts with
    what was open before. `rates`: from which day (None: the beginning) a percentage holds, in the order they were set: a later
    one replaces all that was set before from its day on."""
    if until <= due_on:
        return []
    changes = sorted(settled)
    after = {on + timedelta(days=1) for on, _ in changes} | {since for since, _ in rates if since is not None}
    first, end = due_on + timedelta(days=1), until + timedelta(days=1)
    edges = [first, *sorted(day for day in after if first < day < end), end]
    found: list[Span] = []
    for begins, ends in pairwise(edges):
        amount = max(ZERO, charged - sum((taken for on, taken in changes if on < begins), ZERO))
        percent, days = percent_on(begins, rates), (ends - begins).days
        if found and (found[-1].amount, found[-1].percent) == (amount, percent):
            found[-1] = Span(amount, percent, found[-1].days + days)
        else:
            found.append(Span(amount, percent, days))
    return found


def percent_on(day: date, rates: Sequence[tuple[date | None, Decimal]]) -> Decimal:
    """The percentage a year that holds on a day: the one set last of those whose day has come."""
    return next((percent for since, percent in reversed(rates) if since is None or since <= day), ZERO)


def interest(parts: Iterable[Span], currency: str) -> Decimal:
    """Simple interest: amount x percent a year x days / 365 of each span, added exactly and rounded once."""
    whole = ZERO
    for x in parts:
        whole = EXACT.add(whole, EXACT.multiply(EXACT.multiply(x.amount, x.percent), Decimal(x.days)))
    return round_money(EXACT.divide(whole, Decimal(100 * YEAR)), currency)


def band(due_on: date, today: date) -> int:
    """Place of a debt in BANDS: 0 not due, 1 up to 30 days late, ... 4 more than 90."""
    late = (today - due_on).days
    return sum(late > edge for edge in BANDS)


@dataclass(frozen=True, slots=True)
class Stay:
    """Days of storage to be charged, first and last included."""

    first: date
    last: date

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    def each(self) -> Iterator[date]:
        return (self.first + timedelta(days=n) for n in range(self.days))


def stay(
    finished_on: date, free_days: int, charged_to: date | None, until: date, credited: Iterable[date] = ()
) -> Stay | None:
    """What a machine that was finished on a day stood beyond its free days, and isn't charged yet; None for nothing. `credited`:
    days up to `charged_to` whose charge was credited whole and that none charges since: they come first, days in a row at
    once."""
    first = finished_on + timedelta(days=free_days + 1)
    again: list[date] = []
    if charged_to is not None:
        again = sorted(day for day in credited if first <= day <= min(charged_to, until))
        first = max(first, charged_to + timedelta(days=1))
    if again:
        last = again[0]
        while last + timedelta(days=1) in again:
            last += timedelta(days=1)
        return Stay(again[0], until if last + timedelta(days=1) == first <= until else last)
    return Stay(first, until) if first <= until else None


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of an account. Above zero the customer owes more."""

    on: date
    order: tuple[int, int]
    what: str
    number: str
    amount: Decimal


def running(opening: Decimal, entries: Iterable[Entry]) -> list[tuple[Entry, Decimal]]:
    """Entries by day, each with the balance after it."""
    found, balance = [], opening
    for entry in sorted(entries, key=lambda e: (e.on, e.order)):
        balance += entry.amount
        found.append((entry, balance))
    return found
