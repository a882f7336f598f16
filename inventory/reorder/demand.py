"""How often and how much a part is asked for, seen from its own past; for many parts at once.

Quantities here are binary fractions (numpy): they are estimates and never leave the statistics as amounts. `policy` turns
what comes out into Decimals.

Croston: J. D. Croston, Forecasting and stock control for intermittent demands, 1972. SBA: A. A. Syntetos and J. E. Boylan,
The accuracy of intermittent demand estimates, 2005. TSB: R. H. Teunter, A. A. Syntetos and M. Z. Babai, Intermittent
demand: linking forecasting to inventory obsolescence, 2011. Classes: A. A. Syntetos, J. E. Boylan and J. D. Croston, On
the categorization of demand patterns, 2005.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

Array = Any  # numpy.ndarray of float64, unless said otherwise

METHODS: Final = ("croston", "sba", "tsb")
SMOOTHING: Final = (0.1, 0.2)  # tried for each method
CLASSES: Final = ("none", "smooth", "erratic", "intermittent", "lumpy")
FEW_MONTHS: Final = 9  # below this nothing can be tried on the past
TRIED_MONTHS: Final = 12
INTERVAL_LIMIT: Final = 1.32
VARIATION_LIMIT: Final = 0.49


@dataclass(frozen=True)
class Smoothed:
    """What is known after each period: columns 0..T, column t after t periods. Sizes and intervals are 0 before the first
    demand."""

    size: Array  # mean of one period with demand, smoothed then only
    interval: Array  # periods from one demand to the next, smoothed then only
    chance: Array  # of a demand in one period, smoothed every period

    def croston(self) -> Array:
        """Demand per period."""
        return np.divide(self.size, self.interval, out=np.zeros_like(self.size), where=self.interval > 0)

    def sba(self, often: float) -> Array:
        """Croston's without most of its bias; `often` is the constant that smoothed the interval."""
        return (1 - often / 2) * self.croston()

    def sbj(self, often: float) -> Array:
        """Croston's with another correction of its bias (Shale, Boylan and Johnston 2006)."""
        return (1 - often / (2 - often)) * self.croston()

    def tsb(self, size: Array | None = None) -> Array:
        return self.chance * (self.size if size is None else size)


def smooth(history: Array, size: float, often: float) -> Smoothed:
    """Smooth `history` (parts x periods, oldest first) with one constant for sizes, one for how often. Starts: size = first
    demand, interval = its place counted from 1, chance = 1 if the first period has a demand, else 0."""
    parts, periods = history.shape
    made = [np.zeros((parts, periods + 1)) for _ in range(3)]
    sizes, intervals, chance = (np.zeros(parts) for _ in range(3))
    waited, seen = np.ones(parts), np.zeros(parts, bool)
    for t in range(periods):
        now = history[:, t]
        hit = now > 0
        again, first = hit & seen, hit & ~seen
        sizes = np.where(first, now, np.where(again, sizes + size * (now - sizes), sizes))
        intervals = np.where(first, waited, np.where(again, intervals + often * (waited - intervals), intervals))
        chance = hit.astype(float) if t == 0 else chance + often * (hit - chance)
        seen |= hit
        waited = np.where(hit, 1.0, waited + 1)
        for kept, value in zip(made, (sizes, intervals, chance), strict=True):
            kept[:, t + 1] = value
    return Smoothed(*made)


def patterns(history: Array) -> tuple[Array, Array]:
    """(ADI, CV2): periods per demand (infinite without any), and the squared variation of the sizes (population)."""
    hits = (history > 0).sum(1)
    with np.errstate(divide="ignore", invalid="ignore"):
        often = history.shape[1] / hits
        mean = history.sum(1) / hits
        variation = (history**2).sum(1) / hits / mean**2 - 1
    return np.where(hits > 0, often, np.inf), np.where(hits > 0, np.maximum(variation, 0), 0)


def classes(history: Array) -> Array:
    """Place in CLASSES for each part."""
    often, variation = patterns(history)
    rare, uneven = often >= INTERVAL_LIMIT, variation >= VARIATION_LIMIT
    return np.where(np.isinf(often), 0, 1 + 2 * rare + uneven)


@dataclass(frozen=True)
class Forecast:
    """By part. `rate` = `chance` x `size`, per period."""

    chance: Array
    size: Array
    method: Array  # place in METHODS
    constant: Array  # which of SMOOTHING
    tried: int  # origins in the past at which the methods were tried; 0: the history is too short, SBA is taken
    error: Array  # root of the mean squared error of the method taken, over `ahead` periods

    @property
    def rate(self) -> Array:
        return self.chance * self.size


def forecast(history: Array, ahead: int = 3) -> Forecast:
    """For each part the method that would have told the sum of `ahead` periods best (mean squared error) at each of the last
    months, each time knowing only what lay before."""
    parts, periods = history.shape
    tried = max(min(TRIED_MONTHS, periods - ahead - FEW_MONTHS + 4), 0) if periods >= FEW_MONTHS else 0
    origins = range(periods - ahead - tried + 1, periods - ahead + 1) if tried else range(0)
    total = np.concatenate([np.zeros((parts, 1)), np.cumsum(history, 1)], 1)
    chances, sizes, errors = [], [], []
    for constant in SMOOTHING:
        known = smooth(history, SMOOTHING[0], constant)
        per_interval = np.divide(1, known.interval, out=np.zeros_like(known.interval), where=known.interval > 0)
        for chance in (per_interval, per_interval * (1 - constant / 2), known.chance):
            rate = chance * known.size
            missed = [(total[:, t + ahead] - total[:, t] - ahead * rate[:, t]) ** 2 for t in origins]
            errors.append(np.mean(missed, 0) if missed else np.zeros(parts))
            chances.append(np.minimum(chance[:, -1], 1))
            sizes.append(known.size[:, -1])
    error = np.array(errors)
    taken = np.argmin(error, 0) if tried else np.full(parts, METHODS.index("sba"))
    at = np.arange(parts)
    return Forecast(
        np.array(chances)[taken, at], np.array(sizes)[taken, at], taken % len(METHODS), taken // len(METHODS), tried,
        np.sqrt(error[taken, at]),
    )  # fmt: skip
