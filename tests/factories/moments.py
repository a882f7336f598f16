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


def numbered(kind: str, running: int) -> str:
    """The number that a document has which is the `running`th of this year: INV-26-0001."""
    return f"{kind}-{clock.today():%y}-{running:04}"
