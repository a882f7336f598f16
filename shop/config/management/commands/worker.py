from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser


class Command(BaseCommand):
    help = "Run a Celery worker that delivers the outbox and does the chores (needs REDIS_URL)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--processes", type=int, default=2, metavar="N", help="processes of the worker (default 2)")

    def handle(self, *args: Any, **options: Any) -> None:
        start("worker", f"--concurrency={options['processes']}", "--without-gossip", "--without-mingle")


def start(*arguments: str) -> None:
    """Hand over to Celery's own command line. Raises CommandError when there is no broker."""
    if not settings.REDIS_URL:
        raise CommandError(
            "There is no broker: set REDIS_URL=redis://host:port/number, or let the server do this work."
        )
    from shop.config.celery import app

    app.start(argv=[*arguments, "--loglevel=info"])
