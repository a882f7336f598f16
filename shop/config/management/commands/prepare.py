from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import DatabaseError, connection


class Command(BaseCommand):
    help = "Bring the database to this version and collect the static files. Safe to repeat; run it before serving."

    def handle(self, *args: Any, **options: Any) -> None:
        quiet = min(options["verbosity"], 1) - 1
        if pending():
            call_command("migrate", interactive=False, verbosity=max(quiet, 0))
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA optimize")
        call_command("collectstatic", interactive=False, verbosity=0)


def pending() -> bool:
    """Whether the database is behind this version. Raises DatabaseError when it can't be reached."""
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


__all__ = ["Command", "DatabaseError", "pending"]
