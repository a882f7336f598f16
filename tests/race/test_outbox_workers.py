"""Several workers drain one outbox: each row is taken by one of them."""

from __future__ import annotations

import contextlib
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections

from shop.kernel import clock, writing
from shop.trail import outbox
from shop.trail.models import OutboxRow
from shop.trail.record import announce

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]
ROWS, WORKERS = 120, 6


def deliver_together(monkeypatch) -> Counter:
    seen: list[int] = []
    monkeypatch.setattr(outbox, "_handlers", {})
    outbox.handles("bell.rung")(lambda event: seen.append(event.id))
    for n in range(ROWS):
        writing.run(lambda n=n: announce("bell.rung", n=n))
    start = threading.Barrier(WORKERS)

    def work(_: int) -> None:
        try:
            start.wait(20)
            outbox.drain()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(work, range(WORKERS)))
    return Counter(seen)


def test_six_workers_deliver_each_row_once(monkeypatch):
    seen = deliver_together(monkeypatch)
    assert len(seen) == ROWS
    assert set(seen.values()) == {1}
    assert OutboxRow.objects.filter(done_at__isnull=False, attempts=1).count() == ROWS


def test_control_without_the_row_locks_rows_are_delivered_twice(monkeypatch):
    together = threading.Barrier(WORKERS)

    def naive(limit):
        rows = list(outbox.waiting().filter(claimed_at__isnull=True).order_by("due_at", "id")[:limit])
        with contextlib.suppress(threading.BrokenBarrierError):  # a quick one breaks it while others still wake up
            together.wait(20)
        OutboxRow.objects.filter(pk__in=[r.pk for r in rows]).update(claimed_at=clock.now(), claim="any")
        for row in rows:
            row.claim = "any"
        together.abort()
        return rows

    monkeypatch.setattr(outbox, "_claim", naive)
    assert max(deliver_together(monkeypatch).values()) > 1
