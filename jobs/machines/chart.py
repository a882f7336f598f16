"""The meter of a machine over time, as a drawing: geometry only, in the units of the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

WIDTH: Final = 320
HEIGHT: Final = 96
EDGE: Final = 6


@dataclass(frozen=True)
class Dot:
    x: Decimal
    y: Decimal


@dataclass(frozen=True)
class Chart:
    """`runs` are lines; a new one begins where the meter went back. `dots` are the readings."""

    runs: list[str]
    dots: list[Dot]


def draw(readings: Sequence[tuple[datetime, Decimal]]) -> Chart | None:
    """Readings in order of time on a scale from nought; None with fewer than two, where there is nothing to see."""
    if len(readings) < 2:
        return None
    first, last = readings[0][0], readings[-1][0]
    span = Decimal(max(1, int((last - first).total_seconds())))
    top = max(value for _, value in readings) or Decimal(1)

    def dot(at: datetime, value: Decimal) -> Dot:
        x = EDGE + Decimal(int((at - first).total_seconds())) / span * (WIDTH - 2 * EDGE)
        y = HEIGHT - EDGE - value / top * (HEIGHT - 2 * EDGE)
        return Dot(x.quantize(Decimal("0.1")), y.quantize(Decimal("0.1")))

    dots: list[Dot] = []
    runs: list[list[Dot]] = []
    line: list[Dot] = []
    for n, (at, value) in enumerate(readings):
        if n and value < readings[n - 1][1]:
            runs.append(line)
            line = []
        dots.append(dot(at, value))
        line.append(dots[-1])
    runs.append(line)
    return Chart([" ".join(f"{d.x},{d.y}" for d in run) for run in runs if len(run) > 1], dots)
