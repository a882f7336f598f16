"""manage.py check_invoices: compute every issued money document, letter and account again; exit 1 when anything is wrong."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from jobs.invoices import checking
from jobs.invoices.models import Invoice


class Command(BaseCommand):
    help = "Compute invoices, payments, credits, letters and statements again. Exit code 1 when something is wrong."

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        for found, wrong in enumerate(checking.wrong(), 1):  # noqa: B007  counts them
            self.stderr.write(wrong)
        if found:
            self.stderr.write(f"{found} things are wrong. Issue nothing more and find out why.")
            sys.exit(1)
        self.stdout.write(f"The invoices are right: {Invoice.objects.exclude(number='').count()} documents.")
