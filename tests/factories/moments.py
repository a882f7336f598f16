"""Moments so many days away. A day is one of the calendar, not 24 hours: where the clocks changed in between, a moment near
midnight would else fall on a day that nobody meant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from django.utils import timezone

from shop.kernel import clock


def away(days: int, **more: int) -> datetime:
    """The time of day that it is now, in the shop's time zone, `days` from today (below zero: ago), and `more`
    (hours, minutes) besides; in UTC."""
    there = timezone.localtime(clock.now()) + timedelta(days=days)
    return (there + timedelta(**more)).astimezone(UTC)


def months_on(months: int) -> datetime:
    """Noon on the 15th, so many months after the month that it is now: 1 is next month, whatever day today is."""
    there = timezone.localtime(clock.now())
    years, month = divmod(there.month - 1 + months, 12)
    when = there.replace(year=there.year + years, month=month + 1, day=15, hour=12, minute=0, second=0, microsecond=0)
    return timezone.make_aware(when.replace(tzinfo=None)).astimezone(UTC)


def numbered(kind: str, running: int) -> str:
    """The number that a document has which is the `running`th of this year: INV-26-0001."""
    return f"{kind}-{clock.today():%y}-{running:04}"
