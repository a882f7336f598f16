"""The one source of 'now', so that tests can stop it and the invented shop can have a past."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, timedelta

from django.utils import timezone

FIRST_YEAR, LAST_YEAR = 1900, 2200
_stopped: ContextVar[datetime | None] = ContextVar("stopped_clock", default=None)


def now() -> datetime:
    """The present moment, aware, in UTC; or the moment that `at` stopped at."""
    return _stopped.get() or timezone.now()


def today() -> date:
    """Today's date in the shop's time zone."""
    return timezone.localdate(now())


def can_be_meant(day: date) -> bool:
    """Whether somebody can mean this day. A year outside is a slip of the keys, and arithmetic there leaves the calendar."""
    return FIRST_YEAR <= day.year <= LAST_YEAR


def month_ends(day: date, count: int) -> list[date]:
    """`day` and the last days of the `count` - 1 months before its own, the oldest first."""
    found, first = [day], day.replace(day=1)
    for _ in range(count - 1):
        found.append(first - timedelta(days=1))
        first = found[-1].replace(day=1)
    return found[::-1]


@contextmanager
def at(moment: datetime) -> Iterator[datetime]:
    """Stop the clock at an aware `moment` in this thread, for as long as the block runs."""
    if timezone.is_naive(moment):
        raise ValueError("stop the clock at an aware moment")
    token = _stopped.set(moment)
    try:
        yield moment
    finally:
        _stopped.reset(token)
