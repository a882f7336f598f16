"""Tries at a secret are counted before it is looked at, one after the other under the counter's row lock: twenty guesses
sent at once are twenty guesses. After some free tries each further one waits twice as long as the one before, up to a
longest wait; a try made while waiting is refused and not counted, and the count ends with the hour. So guessing is slow
and nobody can be shut out for good.
"""

from __future__ import annotations

import hashlib
import ipaddress
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from django.db.models import F

from shop.kernel import clock
from shop.kernel.errors import TooMany
from shop.kernel.writing import writes

from .models import Attempt

WINDOW = timedelta(hours=1)


@dataclass(frozen=True)
class Limit:
    """`free` tries an hour, then waits of `first`, 2 x `first` ... `longest` seconds."""

    name: str
    free: int
    first: int
    longest: int

    def scope(self, *parts: object) -> tuple[Limit, str]:
        return self, ":".join([self.name, *map(str, parts)])

    def wait(self, count: int) -> timedelta:
        """How long to wait after the `count`th try."""
        over = count - self.free
        return timedelta(seconds=min(self.longest, self.first * 2 ** min(over, 20))) if over >= 0 else timedelta()


PASSWORD = Limit("password", free=5, first=2, longest=300)
ADDRESS = Limit("address", free=40, first=2, longest=300)
CODE = Limit("code", free=5, first=5, longest=600)
CONFIRM = Limit("confirm", free=5, first=2, longest=300)
PIN = Limit("pin", free=5, first=30, longest=900)
TABLET = Limit("tablet", free=25, first=10, longest=300)

Scope = tuple[Limit, str]


def short(text: str) -> str:
    """A name of any length as part of a scope; what was typed is not kept (it may be a password in the wrong box)."""
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def network(address: str) -> str:
    """The address, or its /64 network: one IPv6 line has as many addresses as it likes."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return "unknown"
    return str(ipaddress.ip_network(f"{known}/64", strict=False)) if known.version == 6 else str(known)


@writes
def count(*scopes: Scope) -> None:
    """Count one try in each scope. Raises TooMany (with `retry_after` in seconds), counting nothing, while one waits."""
    now = clock.now()
    rows = [(limit, _locked(scope, now)) for limit, scope in sorted(scopes, key=lambda s: s[1])]
    until = max((row.free_at for _, row in rows if row.free_at), default=now)
    if until > now:
        seconds = ceil((until - now).total_seconds())
        raise TooMany(
            f"Too many tries. Wait {seconds} seconds, then try again. Nothing is locked for good.", retry_after=seconds
        )
    for limit, row in rows:
        row.count += 1
        wait = limit.wait(row.count)
        row.free_at = now + wait if wait else None
        row.save(update_fields=["count", "free_at"])


def refuse_waiting(*scopes: Scope) -> None:
    """Raises TooMany while one of the scopes waits; counts nothing. For what is counted only when it was wrong."""
    now = clock.now()
    names = [scope for _, scope in scopes]
    row = Attempt.objects.filter(scope__in=names, free_at__gt=now).order_by("-free_at").first()
    if row is not None and row.free_at is not None:
        seconds = ceil((row.free_at - now).total_seconds())
        raise TooMany(f"Too many tries. Wait {seconds} seconds, then try again.", retry_after=seconds)


@writes
def forgive(*scopes: Scope, back: tuple[Scope, ...] = ()) -> None:
    """The try was right: forget the tries in `scopes`, take this one back in `back`."""
    names = [scope for _, scope in scopes]
    Attempt.objects.filter(scope__in=names).delete()
    Attempt.objects.filter(scope__in=[scope for _, scope in back], count__gt=0).update(
        count=F("count") - 1, free_at=None
    )


def _locked(scope: str, now: datetime) -> Attempt:
    start = now.replace(minute=0, second=0, microsecond=0)
    made = Attempt.objects.filter(scope=scope, window_start=start).exists()
    if not made:
        Attempt.objects.bulk_create([Attempt(scope=scope, window_start=start)], ignore_conflicts=True)
        Attempt.objects.filter(window_start__lt=start - WINDOW).delete()
    return Attempt.objects.select_for_update().get(scope=scope, window_start=start)
