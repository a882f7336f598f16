"""The one source of 'now', so that tests can stop it."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone


def now() -> datetime:
    """The present moment, aware, in UTC."""
    return timezone.now()


def today() -> date:
    """Today's date in the shop's time zone."""
    return timezone.localdate(now())
