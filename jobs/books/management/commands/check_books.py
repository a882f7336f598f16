"""manage.py check_books: add every closed month up again; exit 1 when one comes to something else."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from jobs.books import queries


class Command(BaseCommand):
    help = "Add closed months up again from what the other rooms hold. Exit code 1 when one comes to something else."

    def handle(self, *args: Any, **options: Any) -> None:
        found = list(queries.wrong())
        for told in found:
            self.stderr.write(told)
        if found:
            sys.exit(1)
        self.stdout.write(f"The closed months are as they were: {queries.closings().filter(reopening=None).count()}.")
