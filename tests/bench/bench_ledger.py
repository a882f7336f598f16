"""What `check_ledger` costs for a million movements, beside one grouped sum over them by the database alone.

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_ledger [years [rounds]]

The ledger is made (tests/bench/grown.py): 120,000 movements of 2,000 lots a year, by default 9 years: 1.08 million rows.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable

from tests.bench import grown
from tests.bench.load import median, pairs, ticks
from tests.bench.shops import Shops

GROUPED = "SELECT COUNT(*) FROM (SELECT lot_id, bin_id, SUM(quantity) FROM inventory_stock_movement GROUP BY 1, 2) x"


def main() -> None:
    years, rounds = (int(sys.argv[n]) if len(sys.argv) > n else d for n, d in ((1, 9), (2, 3)))
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if url.startswith("postgres") else "") as shops:
        from django.db import connection

        from inventory.stock import ledger

        job, size = grown.Job(), grown.years(years)

        def fill() -> None:
            grown.folk(job, grown.SMALL)
            with grown.Filling(size.movements) as filling:
                grown.ledger(filling, job, size)
            grown.settle()

        started = time.perf_counter()
        shops.make("grown", fill)
        print(f"{connection.vendor}: {size.movements:,} movements, made in {time.perf_counter() - started:.0f} s")
        pids = [os.getpid()]
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":  # on this machine, and all the work in one process
                cursor.execute("SET max_parallel_workers_per_gather = 0")
                cursor.execute("SELECT pg_backend_pid()")
                pids.append(cursor.fetchone()[0])

        def timed(work: Callable[[], object]) -> tuple[float, float]:
            """Seconds by the clock and of processor time."""
            used, begun = ticks(pids), time.perf_counter()
            if found := work():
                raise SystemExit(f"the made ledger is wrong: {found}")
            return time.perf_counter() - begun, ticks(pids) - used

        def grouped() -> None:
            with connection.cursor() as cursor:
                cursor.execute(GROUPED)
                cursor.fetchall()

        limits, ours = zip(
            *pairs(rounds, lambda: timed(grouped), lambda: timed(lambda: list(ledger.wrong()))), strict=True
        )
        for name, runs in (("one grouped sum", limits), ("check_ledger", ours)):
            wall, used = (median([run[n] for run in runs]) * 1_000_000 / size.movements for n in (0, 1))
            print(f"  {name:16} {used:6.2f} s of a processor a million rows, {wall:6.2f} s by the clock")
        ratio = median([mine[1] / limit[1] for limit, mine in zip(limits, ours, strict=True)])
        print(f"  {len(ledger.CHECKS)} checks: {ratio:.1f} x the grouped sum")


if __name__ == "__main__":
    main()
