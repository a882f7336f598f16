"""Standard hours against the hours that were really booked. Plain values in and out, no table, no clock.

The hours of a stage are taken to be lognormal about its standard hours: twice as long is as likely as half as long. What
was typed into the plan is the prior, worth PRIOR_JOBS jobs; each job done moves the figure towards what was measured, the more the
more there are (conjugate normal-inverse-gamma; Murphy, "Conjugate Bayesian analysis of the Gaussian distribution", 2007,
section 3). Binary fractions stay inside: these are estimates; what goes in and comes out is Decimal.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist, fmean, median

PRIOR_JOBS = 2.0  # jobs that the plan's figure is worth
PRIOR_SHAPE = 3.0
PRIOR_SPREAD = 0.3  # of the logarithm: two in three jobs end between 0.74 and 1.35 times the standard hours
FAR = 3.5  # robust standard deviations from the middle: shown as an outlier (Iglewicz and Hoaglin, 1993)
FEW = 4  # with fewer jobs nothing can be called an outlier
Z80 = NormalDist().inv_cdf(0.8)
PRIOR_TOGETHER, TOGETHER_JOBS = 0.3, 10.0  # stages of one card run long together; worth so many cards


@dataclass(frozen=True, slots=True)
class Seen:
    """A stage that was finished: the standard hours on its card and the hours booked, both above 0."""

    card_id: int
    stage_id: int
    label: str  # the card's number
    standard: Decimal
    booked: Decimal
    left_out: str = ""  # why somebody set it aside; "" counts

    @property
    def factor(self) -> Decimal:
        """Booked by standard hours."""
        return (self.booked / self.standard).quantize(Decimal("0.01"))


@dataclass(frozen=True, slots=True)
class Learned:
    """What a stage of a plan takes: P50 and P80 hours, and the spread of the logarithm for sums."""

    standard: Decimal
    prior: Decimal  # hours that the plan says by itself, before any job
    likely: Decimal  # P50
    careful: Decimal  # P80: four of five jobs end below
    middle: float  # mean of the logarithm of hours
    spread: float  # standard deviation of it, for a job to come
    jobs: int
    weight: Decimal  # 0..1: how much the shop's own hours count against the plan's
    outliers: tuple[int, ...]  # stage ids far from the others; they count


def learn(standard: Decimal, seen: Iterable[Seen], *, prior: Decimal | None = None) -> Learned | None:
    """P50 and P80 of a stage with these standard hours; None when it has none (0 hours: nothing to compare with).

    `prior`: the hours that the plan says by itself, if the standard hours were taken from jobs since: those are in `seen`, and
    a prior that holds them too would count them twice. None: the standard hours.
    """
    if standard <= 0:
        return None
    if prior is None or prior <= 0:
        prior = standard
    counted = [s for s in seen if not s.left_out and s.booked > 0 and s.standard > 0]
    logs = [math.log(s.booked / prior) for s in counted]  # against the plan, whatever stood on the card
    mean, spread = posterior(logs)
    middle = math.log(prior) + mean
    return Learned(
        standard=standard,
        prior=prior,
        likely=_hours(math.exp(middle)),
        careful=_hours(math.exp(middle + Z80 * spread)),
        middle=middle,
        spread=spread,
        jobs=len(counted),
        weight=Decimal(len(logs) / (len(logs) + PRIOR_JOBS)).quantize(Decimal("0.01")),
        outliers=tuple(s.stage_id for s, far in zip(counted, far_off(logs), strict=True) if far),
    )


def posterior(
    values: Sequence[float], *, mean: float = 0.0, jobs: float = PRIOR_JOBS, shape: float = PRIOR_SHAPE,
    spread: float = PRIOR_SPREAD,
) -> tuple[float, float]:  # fmt: skip
    """(mean, standard deviation) for the next value after these, by the normal-inverse-gamma update.

    The deviation is that of the predictive Student t with 2a degrees of freedom, b(k+1)/(k(a-1)); it holds what one job
    differs from another as well as what isn't known of the mean.
    """
    scale = spread**2 * (shape - 1)
    n = len(values)
    own = fmean(values) if values else mean
    k, a = jobs + n, shape + n / 2
    m = (jobs * mean + n * own) / k
    b = scale + sum((x - own) ** 2 for x in values) / 2 + jobs * n * (own - mean) ** 2 / (2 * k)
    return m, math.sqrt(b * (k + 1) / (k * (a - 1)))


def far_off(values: Sequence[float]) -> list[bool]:
    """Which values lie more than FAR robust deviations (0.6745 |x - median| / MAD) from the median."""
    if len(values) < FEW:
        return [False] * len(values)
    middle = median(values)
    mad = median(abs(x - middle) for x in values)
    floor = 0.05  # several jobs to the minute alike are no reason to call a tenth more far off
    return [0.6745 * abs(x - middle) / max(mad, floor) > FAR for x in values]


@dataclass(frozen=True, slots=True)
class Apart:
    """What is left of logarithms when the mean of each stage is taken out, by card; of cards with more than one left.
    `stages`: of how many stages a mean was taken out."""

    cards: list[list[float]]
    stages: int


def own_means_out(rows: Iterable[tuple[int, Hashable, float]]) -> Apart:
    """Rows (card, stage, logarithm) without the mean of their stage over the rows. A stage that always takes twice its hours
    beside one that always takes two thirds says nothing of how the two vary. A stage seen once is its own mean: left out.
    """
    by_stage: dict[Hashable, list[tuple[int, float]]] = defaultdict(list)
    for card, stage, value in rows:
        by_stage[stage].append((card, value))
    cards: dict[int, list[float]] = defaultdict(list)
    stages: dict[int, set[Hashable]] = defaultdict(set)
    for stage, its in by_stage.items():
        mean = fmean(x for _, x in its)
        for card, x in its if len(its) > 1 else ():
            cards[card].append(x - mean)
            stages[card].add(stage)
    kept = [card for card, values in cards.items() if len(values) > 1]
    return Apart([cards[c] for c in kept], len({stage for c in kept for stage in stages[c]}))


def within_cards(apart: Apart) -> float | None:
    """The correlation of such logarithms within a card, each stage about its own mean; None of fewer than three cards, or
    where nothing varies.

    By analysis of variance with cards and stages as the two ways, the intraclass correlation ICC(3,1) of Shrout and Fleiss
    ("Intraclass correlations", Psychological Bulletin 86, 1979): (B - E) / (B + (k - 1) E), with B the mean square between
    cards and E that of what is left, whose degrees of freedom are fewer by the stages' means. Cards with different stages
    count with their mean size k.
    """
    groups, n = apart.cards, len(apart.cards)
    total = sum(len(g) for g in groups)
    free = total - n - (apart.stages - 1)
    if n < 3 or free < 1:
        return None
    grand = fmean(x for g in groups for x in g)
    between = sum(len(g) * (fmean(g) - grand) ** 2 for g in groups) / (n - 1)
    left = sum((x - fmean(g)) ** 2 for g in groups for x in g) / free
    size = (total - sum(len(g) ** 2 for g in groups) / total) / (n - 1)
    spread = between + (size - 1) * left
    return (between - left) / spread if spread > 0 else None


def together(rows: Iterable[tuple[int, Hashable, float]]) -> float:
    """How far the stages of one card run long together: the correlation within a card, 0 to 0.9, of the logarithms of hours
    in rows (card, stage, logarithm), each stage about its own mean; drawn towards PRIOR_TOGETHER while there are few cards."""
    apart = own_means_out(rows)
    found = within_cards(apart)
    if found is None:
        return PRIOR_TOGETHER
    n = len(apart.cards)
    drawn = (TOGETHER_JOBS * PRIOR_TOGETHER + n * found) / (TOGETHER_JOBS + n)
    return min(0.9, max(0.0, drawn))


def chance(offered: int, done: int) -> Decimal:
    """How likely optional work is done, of so many times offered: (done + 1) / (offered + 2), Laplace's rule of succession."""
    return (Decimal(done + 1) / Decimal(offered + 2)).quantize(Decimal("0.01"))


def _hours(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(Decimal("0.01"))
