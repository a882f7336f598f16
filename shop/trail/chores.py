"""What has to be done every so often, whoever is there to do it: the serving process, or Celery beat at scale.

    @chore("timebook.close-forgotten", minutes=15)
    def close_forgotten(): actions.close_forgotten()

Registered in a room's `tasks.py`. A chore is safe to run at any time, also twice at once.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import NamedTuple

log = logging.getLogger("tallybench.chores")


class Chore(NamedTuple):
    name: str
    every: float  # seconds
    work: Callable[[], object]


_chores: dict[str, Chore] = {}


def chore(name: str, *, minutes: float) -> Callable[[Callable[[], object]], Callable[[], object]]:
    """Register a function without arguments to be run every `minutes`."""

    def decorate(work: Callable[[], object]) -> Callable[[], object]:
        _chores[name] = Chore(name, minutes * 60, work)
        return work

    return decorate


def known() -> list[Chore]:
    return sorted(_chores.values())


def run(name: str) -> None:
    _chores[name].work()


class Turns:
    """Runs each chore when its time has come, in this process; the first time soon after the start."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self.now = now
        self.next: dict[str, float] = {}
        self.started = now()

    def run_due(self) -> list[str]:
        """Run what is due; one that fails is logged and waits for its next turn."""
        ran = []
        for each in known():
            if self.now() < self.next.get(each.name, self.started + 5):
                continue
            self.next[each.name] = self.now() + each.every
            try:
                each.work()
            except Exception:
                log.exception("chore %s failed", each.name)
            ran.append(each.name)
        return ran
