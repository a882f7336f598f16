"""Which days a supplier's invoice can have. The years of both are bounded, so that no sum of days leaves the calendar."""

from __future__ import annotations

from datetime import date, timedelta

from shop.kernel import clock

OLDEST = timedelta(days=3 * 366)
AHEAD = timedelta(days=7)
LONGEST = timedelta(days=366)


def can_be_dated(day: date) -> bool:
    """Whether an invoice that is recorded today can be of this day: of the last three years, or of the week to come."""
    return -AHEAD <= clock.today() - day <= OLDEST


def can_be_due(day: date, dated_on: date) -> bool:
    """Whether an invoice of `dated_on` can be due then: on its day or within a year of it."""
    return clock.can_be_meant(day) and timedelta(0) <= day - dated_on <= LONGEST
