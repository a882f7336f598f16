"""Who sold an hour that was invoiced, and how figures lie about their middle. Pure.

Sold hours are those on labour lines that are charged by the hour. A line belongs to the people who booked hours on its stage,
in the proportion of what they booked there (`common practice, no source`); a line without a stage, or of a stage that nobody
booked on, to those who booked on its card. What nobody booked for belongs to nobody and is shown so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import median, quantiles

from shop.kernel.rounding import EXACT, round_to

STEP = Decimal("0.000001")  # hours; as exact as a quantity is kept
NOBODY = 0


def shares(quantity: Decimal, booked: Mapping[int, int]) -> dict[int, Decimal]:
    """`quantity` (of either sign, a multiple of STEP) by person, in the proportion of the seconds each has `booked`; it adds
    up to `quantity` again. Largest remainder: each share is cut towards zero, the steps left over go to the largest
    remainders, the lower id first on a tie. All of it to NOBODY when nobody booked."""
    whole = sum(booked.values())
    if whole <= 0:
        return {NOBODY: quantity}
    units = int(EXACT.divide(quantity.copy_abs(), STEP))
    sign = -1 if quantity < 0 else 1
    people = sorted(booked)
    cut = {p: units * booked[p] // whole for p in people}
    rest = {p: units * booked[p] % whole for p in people}
    over = units - sum(cut.values())
    for p in sorted(people, key=lambda p: (-rest[p], p))[:over]:
        cut[p] += 1
    return {p: EXACT.multiply(STEP, Decimal(sign * n)) for p, n in cut.items() if n}


@dataclass(frozen=True, slots=True)
class Spread:
    """How values lie: the middle one, the middle half and the ends. Quartiles by linear interpolation between the values
    (inclusive method: the lowest and the highest are themselves the 0th and the 100th percentile), to two decimals."""

    lowest: Decimal
    lower: Decimal
    median: Decimal
    upper: Decimal
    highest: Decimal


def spread(values: Sequence[Decimal]) -> Spread | None:
    """None without values."""
    if not values:
        return None
    if len(values) == 1:
        return Spread(*[round_to(values[0], 2)] * 5)
    lower, _, upper = quantiles(values, n=4, method="inclusive")
    return Spread(*(round_to(v, 2) for v in (min(values), lower, median(values), upper, max(values))))


def at_or_below(pairs: Sequence[tuple[Decimal, Decimal]]) -> int:
    """How many came to no more than was said. `pairs`: (what it came to, what was said)."""
    return sum(1 for came, said in pairs if came <= said)
