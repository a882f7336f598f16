from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from .worker import start


class Command(BaseCommand):
    help = "Run Celery beat: the sweep of the outbox and the chores, by the clock. Exactly one, and it needs REDIS_URL."

    def handle(self, *args: Any, **options: Any) -> None:
        start("beat")
