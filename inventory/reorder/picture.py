"""The stock of one part over the coming weeks, as a drawing: geometry only, in the units of the drawing.

The line starts with what is free to use, falls by the usual demand, steps down where a card needs some and up where some
arrives; a second line has the proposed order in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

WIDTH: Final = Decimal(640)
HEIGHT: Final = Decimal(200)
LEFT: Final = Decimal(8)
RIGHT: Final = Decimal(8)
TOP: Final = Decimal(16)
FOOT: Final = Decimal(24)
DAYS_A_MONTH: Final = Decimal("30.4375")
SHORTEST: Final = 28  # days drawn at least
TENTH: Final = Decimal("0.1")


@dataclass(frozen=True)
class Step:
    """Something that happens on a day: quantity with its sign, and what it is in words."""

    on: date
    quantity: Decimal
    what: str
    after: Decimal  # stock then, as expected


@dataclass(frozen=True)
class Mark:
    x: Decimal
    y: Decimal
    up: bool


@dataclass(frozen=True)
class Picture:
    """Points of the two lines, heights of the level and of nought, marks, and the same in words (`steps`)."""

    without: str
    with_order: str
    level_y: Decimal | None
    zero_y: Decimal
    marks: list[Mark]
    months: list[tuple[Decimal, date]]
    begins: date
    ends: date
    short_on: date | None  # the first day with nothing left, without the order
    arrives_on: date
    steps: list[Step]


def draw(quantity: Decimal, figures: Mapping[str, Any]) -> Picture:
    """From a proposal's quantity and figures (see planning._figures)."""
    today = date.fromisoformat(figures["as_of"])
    leads = [int(days) for days, _ in figures["lead_days"]]
    usual_lead = max(figures["lead_days"], key=lambda one: one[1])[0]
    arrives = today + timedelta(days=int(usual_lead) + int(figures["review_days"]))
    days = max(SHORTEST, 2 * (max(leads) + int(figures["review_days"])))
    daily = Decimal(figures["monthly"]) / DAYS_A_MONTH
    start = Decimal(figures["on_hand"]) - Decimal(figures["reserved"]) - Decimal(figures["too_old"])
    events = [(_day(one["on"], today, days), Decimal(one["quantity"]), one["what"]) for one in figures["comes"]]
    events += [(_day(one["on"], today, days), -Decimal(one["quantity"]), one["what"]) for one in figures["goes"]]
    events = sorted((e for e in events if (e[0] - today).days <= days), key=lambda e: (e[0], e[1], e[2]))
    ours = sorted([*events, (arrives, quantity, "")], key=lambda e: (e[0], -e[1]))
    plain, short_on = _line(start, daily, events, today, days)
    better, _ = _line(start, daily, ours, today, days)
    level = Decimal(figures["level"])
    highest = max([level, Decimal(1) / 10, *(q for _, q in plain), *(q for _, q in better)])
    lowest = min([Decimal(0), *(q for _, q in plain)])
    span = highest - lowest

    def x(day: Decimal | int) -> Decimal:
        return (LEFT + Decimal(day) / days * (WIDTH - LEFT - RIGHT)).quantize(TENTH)

    def y(value: Decimal) -> Decimal:
        return (TOP + (highest - value) / span * (HEIGHT - TOP - FOOT)).quantize(TENTH)

    def points(line: Sequence[tuple[int, Decimal]]) -> str:
        return " ".join(f"{x(day)},{y(value)}" for day, value in line)

    steps, marks = [], []
    for on, change, what in ours:
        after = [value for day, value in better if day == (on - today).days][-1]
        steps.append(Step(on, change, what, after.quantize(TENTH)))
        marks.append(Mark(x((on - today).days), y(after), change > 0))
    return Picture(
        points(plain), points(better), y(level) if level > 0 else None, y(Decimal(0)), marks,
        [(x((first - today).days), first) for first in _months(today, days)],
        today, today + timedelta(days=days), short_on, arrives, steps,
    )  # fmt: skip


def _day(text: str, today: date, days: int) -> date:
    return max(date.fromisoformat(text), today)


def _line(
    start: Decimal, daily: Decimal, events: Sequence[tuple[date, Decimal, str]], today: date, days: int
) -> tuple[list[tuple[int, Decimal]], date | None]:
    """Corners of the stock line, and the first day on which it is used up. The usual demand waits while nothing is there."""
    line, stock, at = [(0, start)], start, 0
    empty = None if start > 0 else today
    for on, change, _ in [*events, (today + timedelta(days=days), Decimal(0), "")]:
        until = (on - today).days
        if daily > 0 and 0 < stock < daily * (until - at):
            gone = at + int(stock / daily)
            line.append((gone, Decimal(0)))
            empty = empty or today + timedelta(days=gone)
        stock = max(stock - daily * (until - at), min(stock, Decimal(0)))
        line.append((until, stock))
        stock += change
        if stock <= 0:
            empty = empty or on
        if change:
            line.append((until, stock))
        at = until
    return line, empty


def _months(today: date, days: int) -> list[date]:
    found: list[date] = []
    day = today
    while True:
        day = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
        if (day - today).days > days:
            return found
        found.append(day)
