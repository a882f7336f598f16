"""Past demand replayed through this room's policy and through a plain min/max rule: what was served, with how much stock.

Both see only the months before, start with what they would keep, look at the end of each month, wait the same lead times
(drawn once, with a fixed seed), and order the same number of months' use. What is missing waits and is served first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from . import levels
from .demand import Array
from .levels import Levels

MINMAX_MONTHS: Final = 12  # of past use that a minimum is made from
SERVICES: Final = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99, 0.995)
COMPARED: Final = (0.8, 0.85, 0.9, 0.92, 0.94, 0.95, 0.96, 0.97, 0.98)
FACTORS: Final = (0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 5, 6, 8, 10)


@dataclass(frozen=True)
class Setting:
    """`lead` gives the chances of 1, 2, 3 ... months; `cover` how many months' use an order brings at least; `first` the
    months that are only looked at; `cost` of one unit by part."""

    lead: tuple[float, ...]
    cover: float
    first: int
    cost: Array
    seed: int = 26


@dataclass(frozen=True)
class Outcome:
    setting: float  # the wanted service, or the factor of the minimum
    fill: float  # share of the quantity asked for that was there at once
    stock: float  # mean value on the shelf at the end of a month
    orders: float  # a month


Rule = Callable[[Array], tuple[Array, Array]]  # history -> (order below this, up to this)


def ours(service: float, setting: Setting, known: dict[int, list[Levels]] | None = None) -> Rule:
    """This room's policy at one wanted service for all parts. `known` keeps what doesn't depend on the service, by months
    seen, for another run over the same demand."""
    ahead = np.arange(1, len(setting.lead) + 1, dtype=float) + 1  # the month until the next look
    kept: dict[int, list[Levels]] = {} if known is None else known

    def rule(history: Array) -> tuple[Array, Array]:
        parts, seen = history.shape
        if seen not in kept:
            months, weights = np.tile(ahead, (parts, 1)), np.tile(setting.lead, (parts, 1))
            kept[seen] = list(levels.of(history, months, weights, np.full(parts, service), np.ones(parts, bool)))
        found = kept[seen]
        rate = np.concatenate([one.rate for one in found])
        level = np.concatenate([one.at(service) for one in found])
        return level, np.where(level > 0, level - 1 + np.maximum(np.ceil(setting.cover * rate), 1), 0)

    return rule


def min_max(factor: float, setting: Setting) -> Rule:
    """Minimum: `factor` times the last year's mean use over lead time and review, rounded up."""
    wait = 1 + sum(chance * n for n, chance in enumerate(setting.lead, 1))

    def rule(history: Array) -> tuple[Array, Array]:
        rate = history[:, -MINMAX_MONTHS:].mean(1)
        least = np.ceil(factor * rate * wait - 1e-9)
        return np.where(rate > 0, least + 1, 0), np.where(
            rate > 0, least + np.maximum(np.ceil(setting.cover * rate), 1), 0
        )

    return rule


def run(demand: Array, rule: Rule, setting: Setting) -> tuple[float, float, float]:
    """(fill, mean stock value, orders a month) of the months after `setting.first`."""
    parts, periods = demand.shape
    dice = np.random.default_rng(setting.seed)
    leads = dice.choice(len(setting.lead), p=setting.lead, size=(parts, periods)) + 1
    coming = np.zeros((parts, periods + len(setting.lead) + 1))
    _, shelf = rule(demand[:, : setting.first])
    owed = np.zeros(parts)
    served = asked = stock = orders = 0.0
    for t in range(setting.first, periods):
        shelf = shelf + coming[:, t]
        late = np.minimum(shelf, owed)
        shelf, owed = shelf - late, owed - late
        given = np.minimum(shelf, demand[:, t])
        shelf, owed = shelf - given, owed + demand[:, t] - given
        served, asked = served + given.sum(), asked + demand[:, t].sum()
        stock += (shelf * setting.cost).sum()
        below, up_to = rule(demand[:, : t + 1])
        position = shelf - owed + coming[:, t + 1 :].sum(1)
        wanted = np.where(position < below, np.maximum(up_to - position, 0), 0)
        orders += (wanted > 0).sum()
        coming[np.arange(parts), t + leads[:, t]] += wanted
    months = periods - setting.first
    return float(served / max(asked, 1e-12)), float(stock / months), float(orders / months)


def sweep(demand: Array, setting: Setting) -> tuple[list[Outcome], list[Outcome]]:
    """Outcomes of our policy and of min/max over their settings."""
    known: dict[int, list[Levels]] = {}
    mine = [Outcome(s, *run(demand, ours(s, setting, known), setting)) for s in SERVICES]
    plain = [Outcome(f, *run(demand, min_max(f, setting), setting)) for f in FACTORS]
    return mine, plain


def at_fill(outcomes: list[Outcome], fill: float) -> Outcome | None:
    """What it takes to serve `fill`, between the two settings around it; None where no setting serves so much or so
    little."""
    ordered = sorted(outcomes, key=lambda one: one.fill)
    for low, high in pairwise(ordered):
        if low.fill <= fill <= high.fill:
            way = (fill - low.fill) / (high.fill - low.fill) if high.fill > low.fill else 0.0
            between = lambda name: getattr(low, name) + way * (getattr(high, name) - getattr(low, name))  # noqa: E731, B023
            return replace(low, setting=between("setting"), fill=fill, stock=between("stock"), orders=between("orders"))
    return None
