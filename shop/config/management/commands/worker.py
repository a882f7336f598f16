from __future__ import annotations

import os
import sys
import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.config import listening

RESTS = 3  # seconds


class Command(BaseCommand):
    help = "Run a Celery worker that delivers the outbox and does the chores (needs REDIS_URL)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--processes", type=int, default=2, metavar="N", help="processes of the worker (default 2)")

    def handle(self, *args: Any, **options: Any) -> None:
        from celery.signals import worker_ready, worker_shutting_down

        told: list[object] = []
        worker_shutting_down.connect(lambda **said: told.append(said), weak=False)
        worker_ready.connect(lambda **said: listening.watch(begin_anew), weak=False)
        start("worker", f"--concurrency={options['processes']}", "--without-gossip", "--without-mingle")
        if not told:
            # A broker that goes away at the wrong moment makes Celery's consumer give up for good. Nobody told it to: the
            # same process begins anew, so that what waits is delivered once the broker is back.
            self.stderr.write("The worker fell down by itself; it begins anew.")
            time.sleep(RESTS)
            begin_anew()


def begin_anew() -> None:
    """Replace this process by the same command; its pool goes first. What it had in hand is tried again as after a crash."""
    from billiard import active_children

    for child in active_children():
        child.terminate()
    os.execv(sys.executable, [sys.executable, *sys.argv])  # noqa: S606 - our own command


def start(*arguments: str) -> None:
    """Hand over to Celery's own command line. Raises CommandError when there is no broker."""
    if not settings.REDIS_URL:
        raise CommandError(
            "There is no broker: set REDIS_URL=redis://host:port/number, or let the server do this work."
        )
    from shop.config.celery import app

    app.start(argv=[*arguments, "--loglevel=info"])
