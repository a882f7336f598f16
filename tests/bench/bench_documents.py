"""What a document of 1, 12 and 300 lines takes: drafting it from a card, its page, a line changed, issuing it, its PDF and its
electronic invoice; of a card whose work was agreed and done.

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_documents

Milliseconds (on SQLite of processor time, so that other work doesn't count), queries, and per step the time of 300 lines in
relation to that of 12: 25 times as many lines. The limit beside it is the bare write of as many lines in one statement.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from tests.bench.load import median
from tests.bench.shops import Shops

POSTGRES = os.environ.get("DATABASE_URL", "").startswith("postgres")
clock = time.perf_counter if POSTGRES else time.process_time
SIZES, ROUNDS = (1, 12, 300), 5


def main() -> None:
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if POSTGRES else "") as shops:
        from django.conf import settings

        settings.ALLOWED_HOSTS = ["*"]
        shops.make("documents", lambda: None)
        found: dict[str, dict[int, tuple[float, int]]] = {}
        for lines in SIZES:
            for step, figures in measured(lines).items():
                found.setdefault(step, {})[lines] = figures
        print(f"{'ms (queries) with lines:':34}" + "".join(f"{n:>16}" for n in SIZES) + "   300 to 12")
        for step, by_size in found.items():
            cells = "".join(f"{ms:10.1f} ({queries:>3})" for ms, queries in by_size.values())
            print(f"{step:34}{cells}  {by_size[300][0] / by_size[12][0]:8.1f} x")


def measured(lines: int) -> dict[str, tuple[float, int]]:
    """Median and queries of each step."""
    times: dict[str, list[float]] = {}
    counts: dict[str, int] = {}
    for _ in range(ROUNDS if lines < 300 else 3):
        job = Job(lines)
        for name, step in job.steps():
            queries, begun = [], clock()
            job.run(step, queries)
            times.setdefault(name, []).append((clock() - begun) * 1000)
            counts[name] = len(queries)
    return {name: (median(each), counts[name]) for name, each in times.items()}


class Job:
    """A card of one stage and, beyond one line, as many parts as are wanted."""

    def __init__(self, lines: int) -> None:
        from django.test import Client

        from tests.factories import estimates as made
        from tests.factories import parts
        from tests.factories.people import person

        self.by = person("maren", "Maren Holt", "owner")
        made.shop(self.by)
        self.browser = Client()
        self.browser.force_login(self.by)
        self.card = made.card(self.by)
        self.stage = made.stage(self.by, self.card)
        name = f"{self.card.pk}".zfill(5)
        self.parts = [
            parts.part(self.by, f"L{name}-{n:03}", f"Part {n}", kind="component", sale_price=Decimal("12.35"))
            for n in range(lines - 1)
        ]
        for part in self.parts:
            made.need(self.by, self.stage, part, "1")

    def run(self, step: Callable[[], Any], queries: list[int]) -> None:
        from django.db import connection

        with connection.execute_wrapper(lambda run, *a: (queries.append(1), run(*a))[1]):
            step()

    def steps(self) -> list[tuple[str, Callable[[], Any]]]:
        return [
            ("estimate drafted from the card", self.draft), ("its page", self.page), ("a line of it changed", self.change),
            ("estimate issued", self.issue), ("its page, issued", self.page), ("the customer's yes to all", self.agree),
            ("work done (not the document's)", self.work), ("invoice drafted", self.invoice), ("invoice's page", self.bill_page),
            ("invoice issued", self.bill), ("its PDF with the e-invoice", self.paper), ("CII alone", self.cii),
            ("credited whole", self.credit), ("limit: as many rows written", self.limit),
        ]  # fmt: skip

    def draft(self) -> None:
        from jobs.estimates import actions

        self.estimate = actions.draft_estimate(by=self.by, card_id=self.card.pk)

    def page(self) -> None:
        assert self.browser.get(f"/estimates/{self.estimate.pk}/").status_code == 200

    def change(self) -> None:
        from jobs.estimates import actions

        actions.edit_line(self.estimate.lines.first().pk, None, by=self.by, quantity=Decimal("4.25"))

    def issue(self) -> None:
        from jobs.estimates import actions

        actions.issue_estimate(self.estimate.pk, None, by=self.by)

    def agree(self) -> None:
        from tests.factories import estimates as made

        made.say(self.by, self.estimate, {line.pk: True for line in self.estimate.lines.all()})

    def work(self) -> None:
        from jobs.cards import actions as cards
        from tests.factories import invoices as made

        made.work(self.by, self.stage, "4")
        for part in self.parts:
            made.use(self.by, self.stage, part, "1", "5")
        cards.finish_stage(self.stage.pk, by=self.by)

    def invoice(self) -> None:
        from jobs.invoices import actions

        self.document = actions.draft_invoice(by=self.by, card_id=self.card.pk)

    def bill_page(self) -> None:
        assert self.browser.get(f"/invoices/{self.document.pk}/").status_code == 200

    def bill(self) -> None:
        from jobs.invoices import actions

        self.document = actions.issue_invoice(self.document.pk, None, by=self.by)

    def paper(self) -> None:
        from jobs.invoices import printing

        assert printing.pdf(self.document)

    def cii(self) -> None:
        from jobs.invoices import einvoice

        assert einvoice.cii(self.document)

    def credit(self) -> None:
        from jobs.invoices import actions

        actions.credit_note(self.document.pk, by=self.by, reason="Bench")

    def limit(self) -> None:
        from django.db import transaction

        from jobs.estimates.models import Estimate, EstimateLine

        rows = list(self.estimate.lines.all())
        with transaction.atomic():
            draft = Estimate.objects.create(
                card=self.card, currency="EUR", created_at=self.card.opened_at, created_by=self.by
            )
            for row in rows:
                row.pk, row.estimate = None, draft
            EstimateLine.objects.bulk_create(rows)
            transaction.set_rollback(True)


if __name__ == "__main__":
    main()
