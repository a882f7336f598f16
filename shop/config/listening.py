"""Whether a Celery worker still hears its queue.

After its broker was lost a worker can be connected again and take nothing any more: a fault of the transport that has come
back in several of its versions. Everything looks well then, and nothing is delivered. So a thread looks from outside.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings

log = logging.getLogger("tallybench.worker")

LOOKS = 6  # in a row, before a worker is taken for deaf


@dataclass
class Ears:
    """Told at each look what waits in the queue, how much the worker has begun so far, and whether it has work in hand."""

    looks: int = LOOKS
    idle: int = 0
    begun: int = -1

    def deaf(self, waiting: int, begun: int, busy: bool) -> bool:
        """True after so many looks at which something waited, and nothing was begun between them or in hand."""
        heard = not waiting or busy or begun != self.begun
        self.idle, self.begun = 0 if heard else self.idle + 1, begun
        return self.idle >= self.looks


def watch(anew: Callable[[], None]) -> threading.Thread:
    """Look in this process, the worker's first, from now on; `anew` is called once it is found deaf."""
    thread = threading.Thread(target=_watch, args=(anew,), name="listening", daemon=True)
    thread.start()
    return thread


def _watch(anew: Callable[[], None]) -> None:
    import redis
    from celery.worker import state

    from shop.config.celery import app

    queue = app.conf.task_default_queue
    ears, pause = Ears(), threading.Event()
    while not pause.wait(settings.WORKER_DEAF_AFTER / LOOKS):
        try:
            with redis.Redis.from_url(settings.REDIS_URL, socket_connect_timeout=2, socket_timeout=5) as broker:
                waiting = broker.llen(queue)
        except redis.RedisError:
            waiting = 0  # nobody can hear a broker that is away
        if ears.deaf(waiting, sum(state.total_count.values()), bool(state.reserved_requests)):
            log.error("The worker takes nothing, and %s messages wait: it begins anew.", waiting)
            anew()
            return
