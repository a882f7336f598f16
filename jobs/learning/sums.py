"""The distribution of a sum: hours of a card, or its price. Plain values in and out.

A percentile of a sum is not the sum of percentiles: the long stages seldom all run long at once, yet those of one card do so
together more often than chance. The sum of lognormal portions with one correlation between any two is matched by a lognormal
of the same mean and variance (Fenton, 1960); work that is only done with some chance makes it a mixture, one such lognormal
for each way it can turn out, whose percentiles are found exactly. Binary fractions stay inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import product
from statistics import NormalDist

MOST_OPTIONS = 8  # ways of turning out double with each; the smallest ones beyond go in by their mean
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Portion:
    """One part of the sum. `middle` and `spread` of its logarithm; `scale` times it is what counts (a rate per hour).

    `option` names work that is done or not as a whole, with `chance`; None: it is done."""

    middle: float
    spread: float
    scale: float = 1.0
    option: str | None = None


@dataclass(frozen=True, slots=True)
class Certain:
    """What comes to a known amount: parts, a fixed price; of an `option` only if that is done."""

    amount: Decimal
    option: str | None = None


@dataclass(frozen=True, slots=True)
class Range:
    mean: Decimal
    likely: Decimal  # P50
    careful: Decimal  # P80


def of_sum(
    portions: Sequence[Portion], certain: Sequence[Certain], chances: dict[str, Decimal], *, together: float,
    places: Decimal = Decimal("0.01"),
) -> Range:  # fmt: skip
    """Mean, P50 and P80 of the sum. `chances`: how likely each option is; an option without one counts as certain.

    Raises ValueError for a chance outside 0..1 or a correlation outside 0..1.
    """
    if not 0 <= together <= 1:
        raise ValueError(f"a correlation of {together}")
    for name, chance in chances.items():
        if not 0 <= chance <= 1:
            raise ValueError(f"a chance of {chance} for {name}")
    if len(chances) > MOST_OPTIONS:
        raise ValueError(f"more than {MOST_OPTIONS} options: take the largest, and the others by their mean")
    ways = []
    for outcome in product((True, False), repeat=len(chances)):
        done = dict(zip(chances, outcome, strict=True))
        weight = math.prod(float(c if done[name] else 1 - c) for name, c in chances.items())
        if weight == 0:
            continue
        fixed = float(sum((c.amount for c in certain if done.get(c.option or "", True)), Decimal(0)))
        inside = [p for p in portions if done.get(p.option or "", True) and p.scale > 0]
        ways.append((weight, fixed, *matched(inside, together)))
    mean = sum(w * (fixed + (math.exp(m + s * s / 2) if m > -math.inf else 0)) for w, fixed, m, s in ways)
    return Range(*(Decimal(repr(x)).quantize(places) for x in (mean, _quantile(ways, 0.5), _quantile(ways, 0.8))))


def matched(portions: Sequence[Portion], together: float) -> tuple[float, float]:
    """(middle, spread) of the lognormal with the mean and variance of the sum; (-inf, 0) of nothing."""
    if not portions:
        return -math.inf, 0.0
    means = [p.scale * math.exp(p.middle + p.spread**2 / 2) for p in portions]
    total = sum(means)
    variance = 0.0
    for i, a in enumerate(portions):
        for j, b in enumerate(portions):
            r = 1.0 if i == j else together
            variance += means[i] * means[j] * math.expm1(r * a.spread * b.spread)
    s2 = math.log1p(variance / total**2)
    return math.log(total) - s2 / 2, math.sqrt(s2)


def _below(x: float, way: tuple[float, float, float, float]) -> float:
    _, fixed, middle, spread = way
    if x < fixed:
        return 0.0
    if middle == -math.inf or x == fixed:
        return 1.0 if middle == -math.inf else 0.0
    z = math.log(x - fixed) - middle
    return _NORMAL.cdf(z / spread) if spread > 0 else float(z >= 0)


def _quantile(ways: Sequence[tuple[float, float, float, float]], share: float) -> float:
    """The smallest sum that is not exceeded with probability `share`, by bisection to a billionth."""
    low = min(fixed for _, fixed, _, _ in ways)
    high = max(fixed + (math.exp(m + 8 * s) if m > -math.inf else 0) for _, fixed, m, s in ways)
    if sum(w[0] * _below(low, w) for w in ways) >= share:
        return low
    for _ in range(200):
        if high - low <= 1e-9 * max(1.0, high):
            break
        between = (low + high) / 2
        if sum(w[0] * _below(between, w) for w in ways) >= share:
            high = between
        else:
            low = between
    return high
