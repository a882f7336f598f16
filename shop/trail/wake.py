"""Wakes whoever drains the outbox, after a commit, without ever holding up the one who committed.

The outbox row is the truth; a wake-up only makes it quick. On the embedded default the serving process has one thread
that drains. At scale each web process has one thread that sends the wake-up to the broker: when the broker is down or
slow only that thread notices, and the sweep of Celery beat delivers later.
"""

from __future__ import annotations

import logging
import os
import random
import threading
from collections.abc import Callable

from django.conf import settings
from django.db import connections

from . import chores, outbox

log = logging.getLogger("tallybench.outbox")

POLL = 2.0  # seconds; finds rows that became due, or that another process wrote
LONGEST_BREAK = 30.0


class _Loop(threading.Thread):
    """Calls `work` whenever rung, and every `poll` seconds if given. After a failure it rests: 1 s doubling to 30 s."""

    def __init__(self, work: Callable[[], object], *, poll: float | None) -> None:
        super().__init__(name="outbox", daemon=True)
        self.work, self.poll, self.pid = work, poll, os.getpid()
        self.bell, self.stopping = threading.Event(), threading.Event()

    def run(self) -> None:
        failures = 0
        while not self.stopping.is_set():
            self.bell.wait(self.poll)
            self.bell.clear()
            if self.stopping.is_set():
                break
            try:
                self.work()
                if failures:
                    log.warning("outbox: working again")
                failures = 0
            except Exception as error:
                failures += 1
                if failures == 1:
                    log.warning("outbox: resting after %s: %s", type(error).__name__, error)
                connections.close_all()
                rest = min(LONGEST_BREAK, 2.0 ** (failures - 1))
                self.stopping.wait(rest * random.uniform(0.75, 1.25))  # noqa: S311 - jitter, not a secret
                self.bell.set()
        connections.close_all()

    def stop(self, timeout: float = 10.0) -> None:
        self.stopping.set()
        self.bell.set()
        self.join(timeout)


_loop: _Loop | None = None
_starting = threading.Lock()


def start_draining() -> None:
    """Drain in this process from now on, and run the chores (the embedded default)."""
    turns = chores.Turns()

    def work() -> None:
        outbox.drain()
        turns.run_due()

    _start(work, POLL)


def stop() -> None:
    """Finish the row in hand and end the thread."""
    global _loop
    if _loop is not None:
        _loop.stop()
        _loop = None


def ring() -> None:
    """Something was committed to the outbox. Returns at once."""
    if settings.OUTBOX_BROKER and (_loop is None or _loop.pid != os.getpid()):
        _start(_send, None)
    if _loop is not None:
        _loop.bell.set()


def _start(work: Callable[[], object], poll: float | None) -> None:
    global _loop
    with _starting:
        if _loop is None or _loop.pid != os.getpid():  # threads don't survive a fork
            _loop = _Loop(work, poll=poll)
            _loop.start()


def _send() -> None:
    from celery import current_app

    current_app.send_task("outbox.drain", retry=False, expires=60)
