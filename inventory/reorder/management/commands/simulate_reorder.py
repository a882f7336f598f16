"""manage.py simulate_reorder FILE.csv: past demand through our reorder policy and through a plain min/max rule."""

from __future__ import annotations

import csv
import re
import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

AMOUNT = re.compile(r"\d{1,12}(\.\d{1,6})?", re.ASCII)


class Command(BaseCommand):
    help = (
        "Replay a CSV of monthly demand through our reorder policy and through a plain min/max rule, with the same lead times "
        "and looks, and print how much was served at once against the stock it took. One row a part: its name, then its "
        "months; the first row is a heading. An empty cell is nothing asked for. With --columns the table lies on its "
        "side: one row a month, one column a part."
    )

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--columns", action="store_true", help="one column a part, one row a month")
        parser.add_argument("--first", type=int, default=36, help="months that are only looked at (36)")
        parser.add_argument(
            "--lead", default="0.5,0.3,0.2", help="chances of a lead time of 1, 2, ... months (0.5,0.3,0.2)"
        )
        parser.add_argument("--cover", default="1", help="months' use that an order brings at least (1)")
        parser.add_argument("--seed", type=int, default=26, help="of the lead times that come true (26)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            import numpy as np  # only who simulates pays for it
        except ImportError as error:
            raise CommandError("This needs the package numpy of the lock file.") from error
        from inventory.reorder import replay

        parts, table = read(options["file"], options["columns"])
        demand = np.array(table, dtype=np.float64)
        lead = tuple(map(np.float64, _numbers("--lead", options["lead"])))
        if abs(sum(lead) - 1) > np.float64("1e-9"):
            raise CommandError("--lead: the chances must sum to 1, such as 0.5,0.3,0.2.")
        (cover,) = map(np.float64, _numbers("--cover", options["cover"], one=True))
        first, months = options["first"], demand.shape[1]
        if not 6 <= first < months:
            raise CommandError(
                f"--first: the file has {months} months; look at 6 or more of them and leave some to replay."
            )
        setting = replay.Setting(lead, cover, first, np.ones(len(parts)), options["seed"])
        began = time.perf_counter()
        mine, plain = replay.sweep(demand, setting)
        say = self.stdout.write
        say(
            f"{len(parts)} parts, {months} months; the last {months - first} replayed, {demand[:, first:].sum():.0f} asked for."
        )
        never = demand[:, :first].max(1) == 0
        say(
            f"{int(never.sum())} parts were never asked for in the first {first} months: neither rule stocks them before that."
        )
        say(
            "Served is the share of the quantity asked for that lay there; stock is the mean on the shelf, each unit worth 1.\n"
        )
        _rows(say, "our policy at one wanted service", "wanted", mine)
        _rows(say, "min/max at one factor", "factor", plain)
        say("the same served              ours    min/max   difference   orders a month (ours, min/max)")
        for fill in replay.COMPARED:
            a, b = replay.at_fill(mine, fill), replay.at_fill(plain, fill)
            if a and b:
                change = (a.stock / b.stock - 1) * 100
                say(
                    f"{fill:12.0%}     {a.stock:15.0f} {b.stock:10.0f} {change:+11.1f} %   {a.orders:9.0f} {b.orders:6.0f}"
                )
            elif a or b:
                say(f"{fill:12.0%}     only {'ours' if a else 'min/max'} serves so much: {(a or b).stock:.0f}")  # type: ignore[union-attr]
        say(f"\n{time.perf_counter() - began:.0f} s")


def _rows(say: Any, title: str, name: str, outcomes: list[Any]) -> None:
    say(f"{title}\n{name:>12}   served     stock  orders a month")
    for one in outcomes:
        say(f"{one.setting:12.3f}  {one.fill:7.2%} {one.stock:9.0f} {one.orders:10.0f}")
    say("")


def _numbers(name: str, text: str, *, one: bool = False) -> list[str]:
    found = text.split(",")
    if not all(AMOUNT.fullmatch(n) for n in found) or (one and len(found) != 1):
        raise CommandError(f"{name}: “{text}” is not understood. Write numbers with a point, such as 0.5.")
    return found


def read(path: Path, columns: bool) -> tuple[list[str], list[list[str]]]:
    """Parts and their months, as text. Raises CommandError naming the first cell that can't be used."""
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = [row for row in csv.reader(file) if row]
    except OSError as error:
        raise CommandError(f"{path} can't be read: {error.strerror}.") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise CommandError(f"{path} is no CSV in UTF-8: {error}.") from error
    if len(rows) < 2:
        raise CommandError(f"{path} is empty: give a heading, then one row a part.")
    width = len(rows[0])
    for n, row in enumerate(rows, 1):
        if len(row) != width:
            raise CommandError(f"{path}, row {n}: {len(row)} cells, the heading has {width}.")
        for cell, text in enumerate(row[1:], 2):
            if n > 1 and text.strip() and not AMOUNT.fullmatch(text.strip()):
                raise CommandError(
                    f"{path}, row {n}, cell {cell}: “{text[:20]}” is no quantity. Write it like 12 or 12.5."
                )
    body = [[text.strip() or "0" for text in row[1:]] for row in rows[1:]]
    if columns:
        return rows[0][1:], [list(column) for column in zip(*body, strict=True)]
    return [row[0] for row in rows[1:]], body
