"""From history to levels: forecast, distribution and the least stock that is enough, for all parts of a shop.

Parts are worked through in blocks, so that memory stays the same however many there are. Binary fractions (numpy) inside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from . import demand, distribution
from .demand import Array, Forecast
from .distribution import Curve, Wait

BLOCK: Final = 2048


@dataclass(frozen=True)
class Levels:
    """What is known of the parts `rows` (a slice of all of them)."""

    rows: slice
    told: Forecast
    kinds: Array  # place in demand.CLASSES
    interval: Array  # ADI
    variation: Array  # CV2
    rate: Array  # a month's expected demand, leaned on parts alike
    curve: Curve
    level: Array  # the least stock that is enough with the wanted chance

    def at(self, service: float) -> Array:
        """The level at another service, the same for all."""
        return np.where(self.kinds > 0, self.curve.enough(np.full(len(self.kinds), service)), 0)


def of(
    history: Array, months: Array, weights: Array, service: Array, whole: Array,
    share: Array | None = None, groups: Array | None = None,
) -> Iterator[Levels]:  # fmt: skip
    """Levels block by block. `history` parts x months, oldest first; `months` and `weights` as of Wait; `service` 0..1;
    `share` of the demand that isn't known already; `groups` of parts alike, counted from 0 (one group if left out)."""
    asked = history.max(1, initial=0) > 0
    groups = np.zeros(len(history), int) if groups is None else groups
    told = [demand.forecast(history[rows]) for rows in _blocks(len(history))]
    constant = np.array(demand.SMOOTHING)
    own, smoothed = _joined(told, "chance"), constant[_joined(told, "constant")]
    chance = distribution.lean(own, history.shape[1], smoothed, asked, groups)
    size = distribution.usual(_joined(told, "size"), asked, groups)
    for rows, forecast in zip(_blocks(len(history)), told, strict=True):
        block = history[rows]
        interval, variation = demand.patterns(block)
        kinds = demand.classes(block)
        curve = distribution.curve(
            block, forecast, chance[rows], size[rows], Wait(months[rows], weights[rows]), whole[rows],
            None if share is None else share[rows],
        )  # fmt: skip
        rate = np.where(interval < demand.INTERVAL_LIMIT, forecast.rate, chance[rows] * forecast.size)
        level = np.where(kinds > 0, curve.enough(service[rows]), 0)
        yield Levels(rows, forecast, kinds, interval, variation, rate, curve, level)


def _blocks(parts: int) -> Iterator[slice]:
    for begin in range(0, parts, BLOCK):
        yield slice(begin, min(begin + BLOCK, parts))


def _joined(told: list[Forecast], name: str) -> Array:
    return np.concatenate([getattr(one, name) for one in told]) if told else np.zeros(0, int)
