"""The simulation, on an invented table (tests/reorder/demand.csv)."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from inventory.reorder import replay

FILE = Path(__file__).with_name("demand.csv")


def said(*args: str) -> str:
    out = StringIO()
    call_command("simulate_reorder", *args, stdout=out)
    return out.getvalue()


def test_the_command_prints_both_and_compares_them():
    text = said(str(FILE), "--first", "24")
    assert "40 parts, 48 months; the last 24 replayed" in text
    assert "our policy at one wanted service" in text
    assert "min/max at one factor" in text
    assert "the same served" in text


def test_a_table_on_its_side_is_the_same_table(tmp_path):
    rows = [line.split(",") for line in FILE.read_text().splitlines()]
    turned = tmp_path / "turned.csv"
    turned.write_text("\n".join(",".join(column) for column in zip(*rows, strict=True)))
    cut = lambda text: text.rsplit("\n", 2)[0]  # noqa: E731 - the seconds differ
    assert cut(said(str(turned), "--columns")) == cut(said(str(FILE)))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("part,1,2\nA,1\n", "row 2: 2 cells, the heading has 3"),
        ("part,1,2\nA,1,-3\n", "row 2, cell 3: “-3” is no quantity"),
        ("part,1,2\nA,1,x\n", "is no quantity. Write it like 12"),
        ("part,1,2\n", "is empty"),
        ("part,1,2\nA,1,2\n", "the file has 2 months"),
        ("p\xff", "is no CSV in UTF-8"),
    ],
)
def test_a_bad_table_is_told(tmp_path, text, told):
    path = tmp_path / "bad.csv"
    path.write_bytes(text.encode("latin-1" if "\xff" in text else "utf-8"))
    with pytest.raises(CommandError, match=told):
        said(str(path))


@pytest.mark.parametrize(
    ("name", "value"), [("--lead", "0.5,0.2"), ("--lead", "half"), ("--cover", "-1"), ("--first", "3")]
)
def test_a_bad_option_is_told(name, value):
    with pytest.raises(CommandError, match=name):
        said(str(FILE), f"{name}={value}")


def test_nobody_looks_into_the_future():
    """What comes later changes nothing of what was decided before: the rules are handed the months before and no more."""
    seen: list[int] = []
    demand = np.arange(60, dtype=float).reshape(2, 30) % 3

    def rule(history):
        seen.append(history.shape[1])
        return np.ones(2), np.full(2, 3.0)

    replay.run(demand, rule, replay.Setting((1.0,), 1, 12, np.ones(2)))
    assert seen == [12, *range(13, 31)]
    setting = replay.Setting((1.0,), 1, 12, np.ones(2))
    changed = demand.copy()
    changed[:, 20:] += 50
    for make in (replay.ours(0.9, setting), replay.min_max(2, setting)):
        for a, b in zip(make(demand[:, :20]), make(changed[:, :20]), strict=True):
            assert (a == b).all()


def test_the_shelf_is_counted_right_by_hand():
    """One part, lead time a month, order up to 2 below 2: shelf 2; asked 1, 3, 0, 2 from month 2 on.

    Month 2: gives 1, keeps 1, orders 1. Month 3: gets 1, gives 2 of 3, owes 1, orders 3. Month 4: gets 3, pays 1, keeps 2.
    Month 5: gives 2, keeps 0, orders 2. Served 5 of 6; on the shelf 1, 0, 2, 0.
    """
    demand = np.array([[1, 1, 1, 3, 0, 2]], dtype=float)
    rule = lambda history: (np.full(1, 2.0), np.full(1, 2.0))  # noqa: E731
    fill, stock, orders = replay.run(demand, rule, replay.Setting((1.0,), 1, 2, np.ones(1)))
    assert (fill, stock, orders) == (pytest.approx(5 / 6), 0.75, 0.75)


def test_stock_at_a_matched_fill_lies_between_its_neighbours():
    line = [replay.Outcome(1, 0.8, 100, 10), replay.Outcome(2, 0.9, 200, 8)]
    found = replay.at_fill(line, 0.85)
    assert (found.stock, found.orders) == (pytest.approx(150), pytest.approx(9))
    assert replay.at_fill(line, 0.95) is None
