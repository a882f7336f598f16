"""Importing 20,000 rows each of parts, customers, machines and opening stock from CSV: checking, writing, and the longest
transaction, for which others may have to wait on SQLite. Beside it the least that it could be: one line of the trail for
each row in chunks of the same length, and nothing else.

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_import [rows]
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable

from tests.bench.shops import Shops

FIRSTS, LASTS = (
    ("Isla", "Odhran", "Maud", "Finn", "Wiebke", "Una", "Col"),
    ("Penhale", "Vell", "Harms", "Quill", "Tolan"),
)
TABLES: dict[str, tuple[str, Callable[[int], str]]] = {
    "parts": (
        "number,name,kind,sale_price,barcode,storage_note",
        lambda n: f"IMP-{n:05},Gasket {n},gasket,{n % 90 + 1}.50,,Shelf {n % 40}",
    ),
    "customers": (
        "name,kind,email,phone,city,country",
        lambda n: f"{FIRSTS[n % 7]} {LASTS[n % 5]} {n},person,i{n}@grown.example,+353 00 {n:07},Gullhaven,IE",
    ),
    "machines": (
        "customer,kind,maker,model,serial_no,year,usage",
        lambda n: f"{FIRSTS[n % 7]} {LASTS[n % 5]} {n},engine,Brindlecote,B2,B2-I{n:05},{1980 + n % 40},{n % 9000}",
    ),
    "stock": ("part,bin,quantity,unit_cost,batch", lambda n: f"IMP-{n:05},I{n % 100:02},{n % 20 + 1},{n % 40 + 1}.25,B{n % 7}"),
}  # fmt: skip


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if url.startswith("postgres") else ""):
        from django.db import connection

        from jobs.exchange import actions
        from jobs.exchange.models import ImportRun
        from shop.business.models import Business
        from tests.factories import stock
        from tests.factories.people import person

        Business.objects.create(name="Saltmarsh Engine Works", is_sample=True)
        owner = person("maren", "Maren Holt", "owner")
        for n in range(100):
            stock.bin_(owner, f"I{n:02}")
        limit = least(owner, rows, actions.CHUNK)
        print(f"{connection.vendor}, {rows:,} rows; limit: a line of the trail each, {limit:.1f} s")
        for kind, (header, line) in TABLES.items():
            raw = "\n".join([header, *map(line, range(rows))]).encode()
            begun = time.perf_counter()
            checked = actions.check_file(by=owner, kind=kind, name="rows.csv", raw=raw)
            if checked.findings:
                raise SystemExit(f"{kind}: {checked.findings[0]}")
            between = time.perf_counter()
            run = actions.keep_file(checked, by=owner)
            actions.start_import(run.pk, by=owner)
            longest = Longest()
            with connection.execute_wrapper(longest):
                actions.write_rows(run.pk)
            ended = time.perf_counter()
            run = ImportRun.objects.get(pk=run.pk)
            if run.written != rows:
                raise SystemExit(f"{kind}: {run.written} of {rows} written, the first refused: {run.refused[:1]}")
            write = ended - between
            print(
                f"  {kind:10} checked {between - begun:6.1f} s, written {write:6.1f} s = {rows / write:6.0f} rows/s,"
                f" {write / limit:5.1f} x the limit, longest transaction {longest.ms:5.0f} ms",
                flush=True,
            )


class Longest:
    """The longest transaction in milliseconds, from its first statement until the first of the next."""

    def __init__(self) -> None:
        self.ms, self.begun = 0.0, 0.0

    def __call__(self, execute: Callable, sql: str, params: object, many: bool, context: object) -> object:  # type: ignore[type-arg]
        now = time.perf_counter()
        if "exchange_importrun" in sql and sql.startswith("SELECT"):  # each begins with the lock on its run
            self.begun = now
        elif "exchange_importrun" in sql and self.begun:
            self.ms = max(self.ms, (now - self.begun) * 1000)
        return execute(sql, params, many, context)


def least(by: object, rows: int, chunk: int) -> float:
    from django.db import transaction

    from shop.kernel import clock
    from shop.trail.models import TrailRow

    begun = time.perf_counter()
    for start in range(0, rows, chunk):
        with transaction.atomic():
            TrailRow.objects.bulk_create(
                TrailRow(
                    at=clock.now(), by=by, verb="bench.row", subject="part", subject_id=n, root="part", root_id=n,
                    detail={"number": f"IMP-{n:05}", "name": f"Gasket {n}"},
                )
                for n in range(start, min(start + chunk, rows))
            )  # fmt: skip
    return time.perf_counter() - begun


if __name__ == "__main__":
    main()
