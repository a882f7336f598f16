"""When which letter is due, what interest comes to, how old a debt is, how long a machine stands. Plain values, no table.

All terms are the owner's; the arithmetic takes them as given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

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


def interest(amount: Decimal, percent: Decimal, days: int, currency: str) -> Decimal:
    """Simple interest on what is open: amount x percent a year x days / 365, rounded once."""
    if days <= 0:
        return ZERO
    yearly = EXACT.multiply(amount, percent)
    return round_money(EXACT.divide(EXACT.multiply(yearly, Decimal(days)), Decimal(100 * YEAR)), currency)


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


def stay(finished_on: date, free_days: int, charged_to: date | None, until: date) -> Stay | None:
    """What a machine that was finished on a day stood beyond its free days, and isn't charged yet; None for nothing."""
    first = finished_on + timedelta(days=free_days + 1)
    if charged_to is not None:
        first = max(first, charged_to + timedelta(days=1))
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
