"""Delivers what `record.announce` queued: at least once, with retries, visibly when it fails.

A room registers what it does for a topic in its `tasks.py`:

    @handles("mail.send")
    def send(event): ...

A handler may run twice for one event (a worker can die between the effect and the note that it is done), so it must
recognise `event.id`. A handler whose whole effect lies in this database takes `atomic=True`: it then commits together
with that note and happens exactly once.
"""

from __future__ import annotations

import logging
import random
import secrets
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import F

from shop.kernel import clock, writing

from .models import OutboxRow

log = logging.getLogger("tallybench.outbox")

ATTEMPTS = 16  # about a day: 15 s doubling up to 4 h
FIRST_PAUSE, LONGEST_PAUSE = 15.0, 4 * 3600.0
BATCH = 10


class Event(NamedTuple):
    """What a handler gets. `id` stays the same over all attempts."""

    id: int
    topic: str
    payload: dict[str, Any]
    attempt: int
    created_at: datetime


class Undeliverable(Exception):
    """Raised by a handler when trying again can't help (no such address, the file is gone). Given up at once."""


class _Lost(Exception):
    """Somebody else took the row meanwhile; what an atomic handler did is rolled back."""


class _Handler(NamedTuple):
    work: Callable[[Event], object]
    atomic: bool


_handlers: dict[str, _Handler] = {}


def handles(topic: str, *, atomic: bool = False) -> Callable[[Callable[[Event], object]], Callable[[Event], object]]:
    """Register the one handler of `topic`. Raises ValueError for a second one."""

    def decorate(work: Callable[[Event], object]) -> Callable[[Event], object]:
        known = _handlers.get(topic)
        if known and (known.work.__module__, known.work.__qualname__) != (work.__module__, work.__qualname__):
            raise ValueError(f"the topic {topic!r} already has a handler")
        _handlers[topic] = _Handler(work, atomic)
        return work

    return decorate


def topics() -> list[str]:
    return sorted(_handlers)


def drain(seconds: float = 30.0) -> int:
    """Deliver what is due, for at most about `seconds`. Answers how many rows were taken. Any number may run at once."""
    free_stuck()
    ends, taken = time.monotonic() + seconds, 0
    while time.monotonic() < ends:
        rows = _claim(BATCH)
        for row in rows:
            _deliver(row)
        taken += len(rows)
        if len(rows) < BATCH:
            break
    return taken


def free_stuck() -> int:
    """Give back rows whose worker must have died: claimed longer ago than OUTBOX_STUCK_AFTER. Answers how many."""
    now = clock.now()
    stuck = waiting().filter(claimed_at__lt=now - timedelta(seconds=settings.OUTBOX_STUCK_AFTER))
    if not stuck.exists():
        return 0

    def work() -> int:
        given_up = stuck.filter(attempts__gte=ATTEMPTS).update(
            failed_at=now, claimed_at=None, claim="", last_error="The process died each time it tried this."
        )
        return given_up + stuck.update(claimed_at=None, claim="", due_at=now)

    return writing.run(work)


def waiting() -> Any:
    """Rows that are not delivered and not given up."""
    return OutboxRow.objects.filter(done_at__isnull=True, failed_at__isnull=True)


def _claim(limit: int) -> list[OutboxRow]:
    now = clock.now()
    due = waiting().filter(claimed_at__isnull=True, due_at__lte=now)
    if not due.exists():  # an idle poll must not take the one writer's turn on SQLite
        return []
    claim = secrets.token_hex(16)

    def work() -> list[OutboxRow]:
        # rows another worker is claiming at this moment are passed over, so that two never wait for each other
        rows = list(due.select_for_update(skip_locked=True).order_by("due_at", "id")[:limit])
        OutboxRow.objects.filter(pk__in=[row.pk for row in rows], claimed_at__isnull=True).update(
            claimed_at=now, claim=claim, attempts=F("attempts") + 1
        )
        for row in rows:
            row.claim, row.claimed_at, row.attempts = claim, now, row.attempts + 1
        return rows

    return writing.run(work)


def _deliver(row: OutboxRow) -> None:
    handler = _handlers.get(row.topic)
    event = Event(row.pk, row.topic, row.payload, row.attempts, row.created_at)
    try:
        if handler is None:
            raise LookupError(f"nothing handles the topic {row.topic!r}; is every process on the same version?")
        if handler.atomic:
            writing.run(lambda: _in_one(handler.work, event, row))
        else:
            handler.work(event)
            writing.run(lambda: _done(row))
    except _Lost:
        log.warning("outbox %s %s was taken over by another worker", row.pk, row.topic)
    except Undeliverable as error:
        _note_failure(row, error, final=True)
    except Exception as error:
        _note_failure(row, error, final=row.attempts >= ATTEMPTS)


def _in_one(work: Callable[[Event], object], event: Event, row: OutboxRow) -> None:
    work(event)
    _done(row, must=True)


def _done(row: OutboxRow, *, must: bool = False) -> None:
    mine = OutboxRow.objects.filter(pk=row.pk, claim=row.claim, done_at__isnull=True)
    if not mine.update(done_at=clock.now(), claimed_at=None, claim="", last_error="") and must:
        raise _Lost


def _note_failure(row: OutboxRow, error: Exception, *, final: bool) -> None:
    now = clock.now()
    text = f"{type(error).__name__}: {error}"[:2000]
    log.log(
        logging.ERROR if final else logging.WARNING,
        "outbox %s %s attempt %s%s: %s", row.pk, row.topic, row.attempts, ", given up" if final else "", text,
    )  # fmt: skip
    values: dict[str, Any] = {"claimed_at": None, "claim": "", "last_error": text}
    values |= {"failed_at": now} if final else {"due_at": now + timedelta(seconds=pause_after(row.attempts))}
    mine = OutboxRow.objects.filter(pk=row.pk, claim=row.claim, done_at__isnull=True)
    writing.run(lambda: mine.update(**values))


def pause_after(attempts: int) -> float:
    """Seconds to wait after this many failed attempts: doubling, with a quarter of jitter either way."""
    plain = min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** (attempts - 1))
    return plain * random.uniform(0.75, 1.25)  # noqa: S311 - jitter, not a secret
