"""The distribution of a sum: hours of a card, or its price. Plain values in and out.

A percentile of a sum is not the sum of percentiles: the long stages seldom all run long at once, yet those of one card do so
together more often than chance. The sum of lognormal portions with one correlation between any two is matched by a lognormal
of the same mean and variance (Fenton, 1960); work that is only done with some chance makes it a mixture, one such lognormal
for each way it can turn out, whose percentiles are found exactly. Where hours are billed at least up to a minimum, a lognormal
would go below what is billed for certain: such a sum is sampled, always by the same numbers. Binary fractions stay inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from itertools import product
from statistics import NormalDist

MOST_OPTIONS = 8  # ways of turning out double with each; the smallest ones beyond go in by their mean
SAMPLES = 40_000  # a percentile is within 1 % of the spread
SEED = 19
NEVER, HARDLY = 0.001, 0.01  # chances of staying below a floor, and of getting above, that are taken for none
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Portion:
    """One part of the sum. `middle` and `spread` of its logarithm; `scale` times it is what counts (a rate per hour), of at least
    `floor` (hours that are billed in any case).

    `option` names work that is done or not as a whole, with `chance`; None: it is done."""

    middle: float
    spread: float
    scale: float = 1.0
    option: str | None = None
    floor: float = 0.0

    @property
    def below(self) -> float:
        """How likely it stays below its floor."""
        if self.floor <= 0:
            return 0.0
        z = math.log(self.floor) - self.middle
        return _NORMAL.cdf(z / self.spread) if self.spread > 0 else float(z >= 0)

    @property
    def mean(self) -> float:
        """Of a lognormal that counts as c where it is less: E max(X, c) = c N(z) + exp(m + s²/2) N(s - z), z = (ln c - m) / s
        (the two partial expectations of the lognormal distribution)."""
        whole = math.exp(self.middle + self.spread**2 / 2)
        if self.floor <= 0:
            return self.scale * whole
        if self.spread <= 0:
            return self.scale * max(whole, self.floor)
        z = (math.log(self.floor) - self.middle) / self.spread
        return self.scale * (self.floor * _NORMAL.cdf(z) + whole * _NORMAL.cdf(self.spread - z))


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
    """Mean, P50 and P80 of the sum, rounded half up to `places`. `chances`: how likely each option is; an option without one
    counts as certain.

    Raises ValueError for a chance outside 0..1 or a correlation outside 0..1.
    """
    if not 0 <= together <= 1:
        raise ValueError(f"a correlation of {together}")
    for name, chance in chances.items():
        if not 0 <= chance <= 1:
            raise ValueError(f"a chance of {chance} for {name}")
    if len(chances) > MOST_OPTIONS:
        raise ValueError(f"more than {MOST_OPTIONS} options: take the largest, and the others by their mean")
    flat = [p for p in portions if p.below > 1 - HARDLY]  # the floor, nearly always
    certain = [*certain, *(Certain(Decimal(repr(p.scale * p.floor)), p.option) for p in flat)]
    portions = [p for p in portions if p not in flat]
    if any(p.below > NEVER for p in portions):
        figures = _sampled(portions, certain, chances, together)
    else:
        figures = _matched(portions, certain, chances, together)
    mean, likely, careful = (Decimal(repr(x)).quantize(places, ROUND_HALF_UP) for x in figures)
    return Range(mean, likely, careful)


Figures = tuple[float, float, float]  # mean, P50, P80


def _matched(
    portions: Sequence[Portion], certain: Sequence[Certain], chances: dict[str, Decimal], together: float
) -> Figures:
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
    return mean, _quantile(ways, 0.5), _quantile(ways, 0.8)


def _sampled(
    portions: Sequence[Portion], certain: Sequence[Certain], chances: dict[str, Decimal], together: float
) -> Figures:
    """Every portion by one standard normal that the card's stages share and one of its own (the one-factor normal copula,
    whose correlation of the logarithms is `together`); options by their chance. The mean is that of the formulas."""
    import numpy as np  # only a sum with such a floor pays for it

    draw = np.random.default_rng(SEED)
    shared = draw.standard_normal(SAMPLES)
    done = {name: draw.random(SAMPLES) < float(chance) for name, chance in chances.items()}
    mean = float(sum((c.amount for c in certain if (c.option or "") not in done), Decimal(0)))
    total = np.full(SAMPLES, mean)
    for c in certain:
        if c.option and c.option in done:
            total += float(c.amount) * done[c.option]
            mean += float(c.amount * chances[c.option])
    for p in portions:
        own = draw.standard_normal(SAMPLES)
        z = math.sqrt(together) * shared + math.sqrt(1 - together) * own
        amount = p.scale * np.maximum(np.exp(p.middle + p.spread * z), p.floor)
        if p.option and p.option in done:
            total += amount * done[p.option]
            mean += p.mean * float(chances[p.option])
        else:
            total += amount
            mean += p.mean
    likely, careful = np.quantile(total, (0.5, 0.8), method="inverted_cdf")
    return mean, float(likely), float(careful)


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
