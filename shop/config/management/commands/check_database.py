from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection


class Command(BaseCommand):
    help = "Check the database itself: pages, indexes and foreign keys on SQLite, constraints in force on PostgreSQL."

    def handle(self, *args: Any, **options: Any) -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA integrity_check")
                wrong = [row[0] for row in cursor.fetchall() if row[0] != "ok"]
                cursor.execute("PRAGMA foreign_key_check")
                wrong += [
                    f"{table} row {row} points to nothing in {parent}" for table, row, parent, _ in cursor.fetchall()
                ]
            else:
                cursor.execute("SELECT conrelid::regclass, conname FROM pg_constraint WHERE NOT convalidated")
                wrong = [f"{table}: {name} was never checked" for table, name in cursor.fetchall()]
                cursor.execute("SELECT indexrelid::regclass FROM pg_index WHERE NOT indisvalid")
                wrong += [f"index {name} is broken" for (name,) in cursor.fetchall()]
        for line in wrong[:50]:
            self.stderr.write(line)
        if wrong:
            raise CommandError(f"{len(wrong)} things are wrong in the database.")
        self.stdout.write("The database is whole.")
