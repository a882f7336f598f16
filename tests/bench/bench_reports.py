"""What an owner reads of one month, in a shop grown to a year of work and in one grown to ten (60,000 cards, 600,000 hours
booked, 1.2 million movements).

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_reports [years]

Milliseconds in the server, statements, and the ratio of the older shop to the younger, asked in turn: a month is as long in
both, so it should be near 1. Below, hours of a span of all its years, for which no ratio is asked.
"""

from __future__ import annotations

import sys
import time
from datetime import timedelta
from urllib.parse import urlencode

from tests.bench import grown
from tests.bench.bench_lists import Bench, Ground
from tests.bench.load import median
from tests.bench.shops import Shops


def main() -> None:
    import os

    years = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if url.startswith("postgres") else "") as shops:
        from django.conf import settings
        from django.db import connection

        from shop.kernel import clock

        settings.ALLOWED_HOSTS = ["*"]
        ground = Ground()
        sizes = [grown.years(1), grown.years(years)]
        for size in sizes:
            begun = time.perf_counter()
            shops.make(size.name, lambda size=size: grown.grow(ground.job, size))  # type: ignore[misc]
            print(f"{size.name}: {size.cards:,} cards, made in {time.perf_counter() - begun:.0f} s", flush=True)
        today = clock.today()
        last = today.replace(day=1) - timedelta(days=1)
        month = urlencode({"since": last.replace(day=1).isoformat(), "until": last.isoformat()})
        day = urlencode({"day": last.isoformat()})
        asked = {
            "hours": f"/api/v1/hours-reports/?{month}",
            "hours sold of one": f"/api/v1/hours-sold/?person_id={ground.job.owner.pk}&{month}",
            "earned": f"/api/v1/jobs-earned/?{month}",
            "estimates": f"/api/v1/estimate-accuracy/?{month}",
            "journal totals": f"/api/v1/journal-totals/?{month}",
            "stock at month ends": f"/api/v1/stock-value-months/?{day}",
            "work in progress": f"/api/v1/work-in-progress/?{day}",
            "the same, 12 ends": f"/api/v1/work-in-progress-months/?{day}",
            "aged balances": "/accounts/",
        }
        print(f"\n{connection.vendor}: ms in the shop of {sizes[0].name}, of {sizes[1].name}; ratio; statements")
        bench = Bench(shops, [size.name for size in sizes], ground)
        for name, path in asked.items():
            each = bench.ask(path)
            statements = "/".join(map(str, dict.fromkeys(each.queries)))
            print(f"  {name:20} {each.at(0):8.1f} {each.at(1):8.1f}  {each.at(1) / each.at(0):5.2f} x  {statements}",
                  flush=True)  # fmt: skip
        shops.use(sizes[1].name)
        whole = urlencode({"since": (today - timedelta(days=3650)).isoformat(), "until": today.isoformat()})
        times = []
        for _ in range(3):
            begun = time.perf_counter()
            ground.get(f"/api/v1/hours-reports/?{whole}")
            times.append((time.perf_counter() - begun) * 1000)
        print(f"  hours of ten years {median(times):8.0f} ms")


if __name__ == "__main__":
    main()
