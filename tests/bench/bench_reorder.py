"""How long proposals for 50,000 parts with 36 months of history take, and how much memory.

Run: python -m tests.bench.bench_reorder [parts]. Uses a database of its own: SQLite in a temporary folder, or the empty
one that DATABASE_URL names.
"""

from __future__ import annotations

import os
import random
import resource
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any


def megabytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def timed(what: str, work: Callable[[], Any]) -> Any:
    began = time.perf_counter()
    found = work()
    print(f"{what:<52} {time.perf_counter() - began:7.1f} s   peak {megabytes():5} MB", flush=True)
    return found


def fill(parts: int) -> int:
    """Parts of five habits, each with a lot, a balance and its draws; straight into the tables."""
    from inventory.parts.models import Part
    from inventory.stock.models import Balance, Bin, Lot, Movement, StockLevel
    from shop.business.models import Site
    from shop.kernel import clock

    dice = random.Random(26)
    now = clock.now()
    begun = now - timedelta(days=1110)
    site = Site.objects.create(name="Bench", code="BNC")
    shelf = Bin.objects.create(site=site, code="A1")
    Part.objects.bulk_create(
        [Part(number=f"P-{n:06}", name=f"Part {n}", kind="component", find_text=f"p-{n:06}") for n in range(parts)],
        batch_size=2000,
    )
    ids = list(Part.objects.order_by("pk").values_list("pk", flat=True))
    Lot.objects.bulk_create(
        [
            Lot(part_id=pk, number=f"L{pk}", received_at=begun, unit_cost=Decimal(pk % 40 + 1), currency="EUR")
            for pk in ids
        ],
        batch_size=2000,
    )
    lots = dict(Lot.objects.values_list("part_id", "pk"))
    left: dict[int, int] = {}

    def draws() -> Iterator[Movement]:
        for pk in ids:
            often, size = dice.choice((0.02, 0.06, 0.15, 0.4, 0.9)), dice.choice((1, 1, 2, 5))
            left[pk] = dice.choice((0, 1, 2, 4, 10))
            months = [(m, 1 + int(dice.expovariate(1 / size))) for m in range(36) if dice.random() < often]
            total = sum(q for _, q in months) + left[pk]
            common = {"part_id": pk, "lot_id": lots[pk], "bin": shelf, "site": site}
            if total:
                yield Movement(kind="receipt", posting=uuid.uuid4(), quantity=total, value=0, at=begun, **common)
            for m, quantity in months:
                at = now - timedelta(days=31 * m + 31)
                yield Movement(kind="draw", posting=uuid.uuid4(), quantity=-quantity, value=0, at=at, **common)

    rows, batch = 0, []
    for each in draws():
        batch.append(each)
        if len(batch) == 5000:
            Movement.objects.bulk_create(batch)
            rows, batch = rows + len(batch), []
    Movement.objects.bulk_create(batch)
    there = [pk for pk in ids if left[pk]]
    Balance.objects.bulk_create(
        [Balance(part_id=pk, lot_id=lots[pk], bin=shelf, on_hand=left[pk]) for pk in there], batch_size=2000
    )
    StockLevel.objects.bulk_create([StockLevel(part_id=pk, site=site, on_hand=left[pk]) for pk in ids], batch_size=2000)
    return rows + len(batch)


def main() -> None:
    parts = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("TALLYBENCH_DATA", folder)
        os.environ["TALLYBENCH_PLAIN_HTTP"] = "1"
        os.environ["DJANGO_SETTINGS_MODULE"] = "shop.config.settings"
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        call_command("migrate", verbosity=0)
        rows = timed(f"filled: {parts} parts", lambda: fill(parts))
        print(f"{rows} movements on {connection.vendor}; {megabytes()} MB so far")
        from inventory.reorder import actions, gathering, planning

        timed("read the shop (history, levels, needs, costs)", gathering.read)
        worked = timed("worked out, reading included", planning.work_out)
        timed("kept", lambda: actions.keep_run(worked, by=None))
        print(f"{worked.looked_at} parts looked at, {len(worked.drafts)} proposals")


if __name__ == "__main__":
    main()
