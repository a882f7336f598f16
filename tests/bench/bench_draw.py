"""Drawing and receiving a part through the whole HTTP stack, beside what the database alone could do in the same minute.

Run: DATABASE_URL=postgres://... python -m tests.bench.bench_draw [seconds [rounds]]

On PostgreSQL: 8 clients against 2 workers, in turn with 8 psycopg clients that write the same rows in 6 round trips
(BEGIN, SELECT FOR UPDATE, INSERT of the movement, UPDATE of the level, INSERT into the trail, COMMIT); all over 64 parts,
then all on one; then receiving, in turn with the same rows in 8 round trips (the lot and its balance besides). Without DATABASE_URL: 8 clients against the embedded default on SQLite.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import uuid
from collections.abc import Callable
from typing import Any

from tests.bench.load import CLIENTS, Run, median, poster, ticks, together
from tests.factories.processes import ROOT, Shop, Template, database_url

WORKERS = 2


def lay(template: Template) -> dict[str, list[Any]]:
    """The ground of the bench, in the template itself."""
    shop = Shop(template.folder, database_url(template.server_url, template.database))
    made = subprocess.run(
        [sys.executable, "-m", "tests.bench.ground"], env=shop.environment, cwd=ROOT, text=True, capture_output=True,
        stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    if made.returncode:
        raise RuntimeError(made.stderr)
    return json.loads(made.stdout)


def drawing(shop: Shop, told: dict[str, list[Any]], parts: list[int]) -> list[Callable[[], Callable[[], str]]]:

    def body(stage: int) -> Callable[[], bytes]:
        return lambda: b'{"stage_id":%d,"part_id":%d,"quantity":"1"}' % (stage, random.choice(parts))

    return [
        poster(shop.port, token, "draws/", body(stage))
        for token, stage in zip(told["tokens"], told["stages"], strict=True)
    ]


def raw(shop: Shop, parts: list[int]) -> list[Callable[[], Callable[[], str]]]:
    """The same rows by SQL alone. Balances, reservations, needs and kept answers are left out: it is the least that a
    draw could be."""
    level_of = {p: pk for p, pk in shop.sql("SELECT part_id, id FROM inventory_stock_stocklevel")}
    lot_of = {p: lot for p, lot in shop.sql("SELECT part_id, MIN(id) FROM inventory_stock_lot GROUP BY part_id")}
    (bin_id, site), by = shop.sql("SELECT id, site_id FROM inventory_stock_bin ORDER BY id LIMIT 1")[0], 1

    def connect() -> Callable[[], str]:
        import psycopg

        line = psycopg.connect(shop.url, autocommit=True)
        cursor = line.cursor()

        def once() -> str:
            part = random.choice(parts)
            cursor.execute("BEGIN")
            cursor.execute(
                "SELECT on_hand, reserved FROM inventory_stock_stocklevel WHERE id = %s FOR UPDATE", [level_of[part]]
            )
            cursor.fetchone()
            cursor.execute(
                "INSERT INTO inventory_stock_movement (kind, posting, part_id, lot_id, bin_id, site_id, quantity, value,"
                " at, by_id, label, reason, override, holder)"
                " VALUES ('draw', %s, %s, %s, %s, %s, -1, -4.2, now(), %s, 'card', '', '', '') RETURNING id",
                [uuid.uuid4(), part, lot_of[part], bin_id, site, by],
            )
            pk = cursor.fetchone()[0]
            cursor.execute(
                "UPDATE inventory_stock_stocklevel SET on_hand = on_hand - 1 WHERE id = %s", [level_of[part]]
            )
            cursor.execute(
                "INSERT INTO shop_trail_trailrow (at, by_id, verb, subject, subject_id, root, root_id, detail, request_id)"
                " VALUES (now(), %s, 'stock.draw', 'movement', %s, 'part', %s, '{}', '')",
                [by, pk, part],
            )
            cursor.execute("COMMIT")
            return ""

        return once

    return [connect] * CLIENTS


def receiving(shop: Shop, told: dict[str, list[Any]]) -> list[Callable[[], Callable[[], str]]]:

    def body() -> bytes:
        part = random.choice(told["parts"])
        return b'{"part_id":%d,"bin_id":%d,"quantity":"5","unit_cost":"4.2"}' % (part, random.choice(told["bins"]))

    return [poster(shop.port, token, "lots/", body) for token in told["tokens"]]


def raw_receiving(shop: Shop, told: dict[str, list[Any]]) -> list[Callable[[], Callable[[], str]]]:
    """The rows of a receipt by SQL alone."""
    level_of = {p: pk for p, pk in shop.sql("SELECT part_id, id FROM inventory_stock_stocklevel")}
    by, site = 1, shop.sql("SELECT site_id FROM inventory_stock_bin ORDER BY id LIMIT 1")[0][0]

    def connect() -> Callable[[], str]:
        import psycopg

        line = psycopg.connect(shop.url, autocommit=True)
        cursor = line.cursor()

        def once() -> str:
            part, bin_id = random.choice(told["parts"]), random.choice(told["bins"])
            cursor.execute("BEGIN")
            cursor.execute("SELECT on_hand FROM inventory_stock_stocklevel WHERE id = %s FOR UPDATE", [level_of[part]])
            cursor.fetchone()
            cursor.execute(
                "INSERT INTO inventory_stock_lot (number, part_id, batch, serial_no, source, received_at, unit_cost, currency)"
                " VALUES (%s, %s, '', '', '', now(), 4.2, 'EUR') RETURNING id",
                [f"R{uuid.uuid4().hex[:20]}", part],
            )
            lot = cursor.fetchone()[0]
            cursor.execute(
                "INSERT INTO inventory_stock_movement (kind, posting, part_id, lot_id, bin_id, site_id, quantity, value,"
                " at, by_id, label, reason, override, holder)"
                " VALUES ('receipt', %s, %s, %s, %s, %s, 5, 21, now(), %s, '', '', '', '') RETURNING id",
                [uuid.uuid4(), part, lot, bin_id, site, by],
            )
            pk = cursor.fetchone()[0]
            cursor.execute(
                "INSERT INTO inventory_stock_balance (part_id, lot_id, bin_id, on_hand) VALUES (%s, %s, %s, 5)",
                [part, lot, bin_id],
            )
            cursor.execute(
                "UPDATE inventory_stock_stocklevel SET on_hand = on_hand + 5 WHERE id = %s", [level_of[part]]
            )
            cursor.execute(
                "INSERT INTO shop_trail_trailrow (at, by_id, verb, subject, subject_id, root, root_id, detail, request_id)"
                " VALUES (now(), %s, 'stock.receipt', 'movement', %s, 'part', %s, '{}', '')",
                [by, pk, part],
            )
            cursor.execute("COMMIT")
            return ""

        return once

    return [connect] * CLIENTS


def say(name: str, run: Run, more: str = "") -> Run:
    print(
        f"  {name:24} {run.rate:8.0f} /s   p50 {run.at(0.5):7.2f} ms   p99 {run.at(0.99):7.2f} ms   {more}", flush=True
    )
    if run.failures:
        print(f"  {len(run.failures)} FAILED, the first: {run.failures[0]}")
    return run


def on_postgres(template: Template, seconds: float, rounds: int) -> None:
    told = lay(template)
    with Shop.copy_of(template) as bare, Shop.copy_of(template) as shop:  # the raw rows would make the ledger wrong
        shop.serve(workers=WORKERS)
        servers = shop.children("serve")
        for title, parts in (("spread over 64 parts", told["parts"]), ("one hot part", told["parts"][:1])):
            print(title)
            ratios, rates, costs = [], [], []
            for _ in range(rounds):
                limit = say("limit: raw SQL", together(raw(bare, parts), seconds))
                before = ticks(servers)
                ours = together(drawing(shop, told, parts), seconds)
                cost = (ticks(servers) - before) / max(1, len(ours.times)) * 1000
                say(
                    "draws through HTTP", ours, f"{cost:.2f} ms of a worker   {ours.rate / limit.rate:.1%} of the limit"
                )
                ratios.append(ours.rate / limit.rate)
                rates.append(ours.rate)
                costs.append(cost)
            print(
                f"  median {median(rates):.0f} /s, {median(ratios):.1%} of the paired limit, {median(costs):.2f} ms each"
            )
        print("receiving")
        ratios = []
        for _ in range(rounds):
            limit = say("limit: raw SQL", together(raw_receiving(bare, told), seconds))
            ours = say("receipts through HTTP", together(receiving(shop, told), seconds))
            ratios.append(ours.rate / limit.rate)
        print(f"  median {median(ratios):.1%} of the paired limit")
        prove(shop)


def on_sqlite(template: Template, seconds: float, rounds: int) -> None:
    told = lay(template)
    with Shop.copy_of(template) as shop:
        shop.serve()
        print("embedded default: SQLite, one process, 8 clients")
        for _ in range(rounds):
            run = say("draws through HTTP", together(drawing(shop, told, told["parts"]), seconds))
            locked = sum("locked" in f for f in run.failures)
            print(f"  {len(run.failures)} failures, {locked} of them “database is locked”")
        prove(shop)


def prove(shop: Shop) -> None:
    shop.stop("serve")
    print("  ledger:", shop.manage("check_ledger", timeout=600).stdout.strip())


def main() -> None:
    seconds, rounds = (float(sys.argv[1]) if len(sys.argv) > 1 else 5.0), int(sys.argv[2]) if len(sys.argv) > 2 else 3
    url = os.environ.get("DATABASE_URL", "")
    template = Template(url if url.startswith("postgres") else "")
    try:
        (on_postgres if url.startswith("postgres") else on_sqlite)(template, seconds, rounds)
    finally:
        template.close()


if __name__ == "__main__":
    main()
