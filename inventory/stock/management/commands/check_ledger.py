"""manage.py check_ledger: recompute the stock ledger from its movements; exit 1 when anything is wrong."""

from __future__ import annotations

import sys
import time
from typing import Any

from django.core.management.base import BaseCommand

from inventory.stock import ledger
from inventory.stock.models import Movement


class Command(BaseCommand):
    help = (
        "Recompute balances, levels, promises, values and lots from the movements. Exit code 1 when something is wrong."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        started = time.perf_counter()
        found = 0
        for found, wrong in enumerate(ledger.wrong(), 1):  # noqa: B007  counts them
            self.stderr.write(str(wrong))
        rows = Movement.objects.count()
        took = time.perf_counter() - started
        if found:
            self.stderr.write(f"{found} things are wrong in {rows} movements. Stop posting and find out why.")
            sys.exit(1)
        self.stdout.write(f"The ledger is right: {rows} movements, {len(ledger.CHECKS)} checks, {took:.2f} s.")
