"""Pictures of a few figures as bars, for a template that draws them with SVG and no style of its own. Pure: plain values in,
coordinates out, nothing binary in between. What is drawn stands in the table beside it as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

ZERO = Decimal(0)
TENTH = Decimal("0.1")
WIDTH, HEIGHT = Decimal(640), Decimal(180)
FOOT, HEAD = Decimal(20), Decimal(16)  # for the words below, and the highest figure above
LABELS = 12  # words that have room below
SHADES = ("1", "0.55", "0.25")  # of the fill, by series


@dataclass(frozen=True, slots=True)
class Bar:
    x: Decimal
    y: Decimal
    width: Decimal
    height: Decimal
    shade: str


@dataclass(frozen=True, slots=True)
class Word:
    x: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class Columns:
    """Bars that stand on (below nought: hang from) a line."""

    bars: list[Bar]
    words: list[Word]
    nought: Decimal
    highest: Decimal

    @property
    def width(self) -> Decimal:
        return WIDTH

    @property
    def height(self) -> Decimal:
        return HEIGHT


def columns(named: Sequence[tuple[str, Sequence[Decimal | None]]]) -> Columns:
    """One group of bars for each name, its figures side by side in the order given; None leaves its place empty."""
    figures = [v for _, values in named for v in values if v is not None]
    highest = max(figures, default=ZERO).max(ZERO)
    lowest = min(figures, default=ZERO).min(ZERO)
    room = HEIGHT - FOOT - HEAD
    scale = room / ((highest - lowest) or 1)
    nought = (HEAD + highest * scale).quantize(TENTH)
    group = WIDTH / max(len(named), 1)
    most = max((len(values) for _, values in named), default=1) or 1
    wide = (group * Decimal("0.8") / most).quantize(TENTH)
    each = -(-len(named) // LABELS) or 1
    bars, words = [], []
    for n, (name, values) in enumerate(named):
        left = group * n + group / 10
        for k, value in enumerate(values):
            if value is None:
                continue
            height = (value.copy_abs() * scale).quantize(TENTH)
            y = nought - height if value >= 0 else nought
            bars.append(Bar((left + wide * k).quantize(TENTH), y, wide, height, SHADES[k % len(SHADES)]))
        if n % each == 0:
            words.append(Word(left.quantize(TENTH), name))
    return Columns(bars, words, nought, highest)
