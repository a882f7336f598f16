"""How much may be asked for until the next delivery: a distribution for each part, not a mean with a bell curve around it.

A month of a part that is asked for now and then is "nothing, or else one of the sizes it had": a compound distribution of
its own sizes, a little blurred. A month of one that is asked for nearly always is a negative binomial (Poisson where it
varies less than that; a normal curve only where it moves in many small steps). The characteristic function of one month,
to the power of the months and averaged over the lead times that may come true, is that of the whole wait; a fast Fourier
transform turns it into chances. Binary fractions (numpy) inside; `policy` makes Decimals of what comes out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from .demand import INTERVAL_LIMIT, Array, Forecast, patterns

GRID: Final = 128  # steps of quantity
RECENT: Final = 0.95  # weight of a month beside the next later one, for sizes
BLUR: Final = 2.0  # months with demand that the smooth curve of sizes counts beside the part's own
ALIKE: Final = 6.0  # months that parts asked for about as often count beside the part's own
MANY_STEPS: Final = 20.0


@dataclass(frozen=True)
class Wait:
    """Months from now until what is ordered at the next chance lies on the shelf: lead time plus the time between two looks,
    as scenarios (parts x scenarios) with weights that sum to 1."""

    months: Array
    weights: Array

    @property
    def mean(self) -> Array:
        return (self.months * self.weights).sum(1)

    @property
    def longest(self) -> Array:
        return np.where(self.weights > 0, self.months, 0).max(1)


@dataclass(frozen=True)
class Curve:
    """Chances of needing exactly 0, 1, 2 ... steps over the wait, and the step of each part."""

    chances: Array
    step: Array

    def enough(self, service: Array) -> Array:
        """The least stock that is enough with chance `service` (0..1, by part), in the part's unit."""
        reached = np.cumsum(self.chances, 1) < (service - 1e-9)[:, None]
        return reached.sum(1) * self.step

    def short(self, stock: Array) -> Array:
        """The chance that `stock` is not enough."""
        steps = np.floor(stock / self.step + 1e-9).astype(int)
        below = np.cumsum(self.chances, 1)[np.arange(len(steps)), np.clip(steps, 0, GRID - 1)]
        return np.where(steps < 0, 1.0, np.clip(1 - below, 0, 1))


def lean(chance: Array, months: int, constant: Array, asked: Array, groups: Array) -> Array:
    """The chance of a demand in a month, leaned on parts of the same group (0, 1, ...), as a rare part's own past says
    little. A part never `asked` for (bool) stays at nought. `constant`: the smoothing constant behind each chance."""
    own = np.minimum(months, 1 / constant)
    leaned = (own * chance + ALIKE * usual(chance, asked, groups)) / (own + ALIKE)
    return np.where(asked, leaned, 0)


def usual(values: Array, asked: Array, groups: Array) -> Array:
    """For each part the mean of `values` over the parts of its group that were asked for."""
    total = np.bincount(groups, weights=np.where(asked, values, 0))
    return (total / np.maximum(np.bincount(groups, weights=asked), 1))[groups]


def curve(
    history: Array, told: Forecast, chance: Array, size: Array, wait: Wait, whole: Array, share: Array | None = None
) -> Curve:
    """The distribution over the wait. `size`: usual size of a month's demand among parts alike; `whole`: parts counted in pieces (bool); `share`: of the demand that is not known
    already (0..1 by part; all of it if left out)."""
    parts = len(history)
    left = np.ones(parts) if share is None else share
    chance = chance * left
    recent = RECENT ** np.arange(history.shape[1])[::-1]
    variance = _variance(history, recent)
    often, _ = patterns(history)
    often_wanted = often < INTERVAL_LIMIT
    rate = np.where(often_wanted, told.rate * left, chance * told.size)
    step = _step(history, rate, variance, wait, whole)
    turn = np.exp(-2j * np.pi * np.arange(GRID // 2 + 1) / GRID)[None, :]
    months, weights = wait.months, wait.weights
    transform = np.zeros((parts, GRID // 2 + 1), complex)
    rare = np.nonzero(~often_wanted)[0]
    if len(rare):
        sizes = np.fft.rfft(_sizes(history[rare], recent, size[rare], step[rare]), axis=1)
        p = chance[rare, None]
        month = 1 - p + p * sizes
        for n in range(months.shape[1]):
            m = np.floor(months[rare, n])[:, None]
            rest = (months[rare, n][:, None] - m) * p
            transform[rare] += weights[rare, n][:, None] * month**m * (1 - rest + rest * sizes)
    usual = np.nonzero(often_wanted)[0]
    if len(usual):
        mu = rate[usual] / step[usual]
        spread = variance[usual] * left[usual] / step[usual] ** 2
        logarithm = _often(turn, mu[:, None], spread[:, None])
        for n in range(months.shape[1]):
            transform[usual] += weights[usual, n][:, None] * np.exp(months[usual, n][:, None] * logarithm)
    chances = np.clip(np.fft.irfft(transform, n=GRID, axis=1), 0, None)
    return Curve(chances / np.maximum(chances.sum(1, keepdims=True), 1e-12), step)


def _variance(history: Array, weights: Array) -> Array:
    """Variance of a month's demand, the later months counting more."""
    total = weights.sum()
    mean = history @ weights / total
    return np.maximum((history**2) @ weights / total - mean**2, 0)


def _step(history: Array, rate: Array, variance: Array, wait: Wait, whole: Array) -> Array:
    """The quantity of one step of the grid: a piece, or more where the grid would not hold what may be needed."""
    most = wait.longest * rate + 6 * np.sqrt(np.ceil(wait.longest) * (variance + rate**2)) + 2 * history.max(1)
    fine = most / (GRID - 1)
    return np.where(whole, np.maximum(np.ceil(fine), 1), np.maximum(fine, 1e-6))


def _sizes(history: Array, recent: Array, size: Array, step: Array) -> Array:
    """Chances of each size of a month with demand: as they were, and a geometric curve whose mean leans on parts alike."""
    parts = len(history)
    found = np.zeros((parts, GRID))
    at = np.clip(np.rint(history / step[:, None]), 1, GRID - 1).astype(int)
    for t in range(history.shape[1]):
        rows = np.nonzero(history[:, t] > 0)[0]
        np.add.at(found, (rows, at[rows, t]), recent[t])
    weight = found.sum(1)
    own = (found * np.arange(GRID)).sum(1)
    mean = np.maximum((own + BLUR * size / step) / (weight + BLUR), 1.0001)
    curve = np.zeros((parts, GRID))
    curve[:, 1:] = (1 / mean)[:, None] * (1 - 1 / mean)[:, None] ** np.arange(GRID - 1)
    curve /= curve.sum(1, keepdims=True)
    found += BLUR * curve
    return found / found.sum(1, keepdims=True)


def _often(turn: Array, mean: Array, variance: Array) -> Array:
    """Logarithm of the characteristic function of one month with mean and variance in steps."""
    poisson = mean * (turn - 1)
    q = np.clip(1 - mean / np.maximum(variance, 1e-12), 1e-9, 1 - 1e-9)  # of a negative binomial
    negative = mean * (1 - q) / q * (np.log(1 - q) - np.log(1 - q * turn))
    angle = np.angle(turn)
    normal = 1j * angle * mean - variance * angle**2 / 2
    uneven = variance > mean * 1.0001
    return np.where(uneven, negative, np.where(mean > MANY_STEPS, normal, poisson))
