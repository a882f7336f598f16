"""The pages of the stock room in a shop of 10,000 movements and in one of 2,040,000: they should take the same time.

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_stock [rounds]

The ledger is made (tests/bench/grown.py). "value" is the report of what the stock is worth, now and at the end of a month
two years back, after the months were added up; it isn't a page for every minute and may cost a month of movements.
"""

from __future__ import annotations

import os
import sys
import time
from datetime import timedelta

from tests.bench import grown
from tests.bench.load import median
from tests.bench.shops import Shops

SIZES = (grown.Size("10,000", 600, 1_000, 1, 10), grown.Size("2,040,000", 100_000, 1_000, 34, len(grown.LIFE)))


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if url.startswith("postgres") else "") as shops:
        from django.conf import settings
        from django.db import connection
        from django.test import Client

        from inventory.stock import actions
        from inventory.stock.models import Balance
        from shop.kernel import clock

        settings.ALLOWED_HOSTS = ["testserver"]
        job = grown.Job()
        took: dict[str, dict[str, float]] = {}
        for size in SIZES:

            def fill(size: grown.Size = size) -> None:
                grown.folk(job, grown.SMALL)
                with grown.Filling(size.movements) as filling:
                    grown.ledger(filling, job, size)
                grown.settle()

            began = time.perf_counter()
            shops.make(size.name, fill)
            made = time.perf_counter()
            actions.close_months()
            closed = time.perf_counter() - made
            print(
                f"{connection.vendor}: {size.movements:,} movements, made in {made - began:.0f} s, closed in {closed:.0f} s"
            )
            client = Client()
            client.force_login(job.owner)
            place = Balance.objects.filter(on_hand__gt=0).order_by("-id")[0]
            then = clock.today().replace(day=1) - timedelta(days=730)
            pages = {
                "stock": "/stock/", "movements": "/stock/movements/", "scrap": "/stock/movements/?kind=scrap",
                "lot": f"/stock/lots/{place.lot_id}/", "bin": f"/stock/bins/{place.bin_id}/",
                "part": f"/parts/{place.part_id}/", "value now": "/stock/value/", "value then": f"/stock/value/?day={then}",
            }  # fmt: skip
            took[size.name] = {name: _median(client, where, rounds) for name, where in pages.items()}
        small, large = took.values()
        for name in small:
            print(f"  {name:11} {small[name]:8.1f} ms {large[name]:8.1f} ms  {large[name] / small[name]:5.2f} x")


def _median(client: object, where: str, rounds: int) -> float:
    """Milliseconds of the whole answer (on SQLite of processor time: all the work is this process's), the first two left out."""
    from django.db import connection

    watch = time.process_time if connection.vendor == "sqlite" else time.perf_counter
    runs = []
    for n in range(rounds + 2):
        began = watch()
        answer = client.get(where, secure=True)  # type: ignore[attr-defined]
        if n > 1:
            runs.append((watch() - began) * 1000)
        if answer.status_code != 200:
            raise SystemExit(f"{where}: {answer.status_code}")
    return median(runs)


if __name__ == "__main__":
    main()
