"""Kits: a gasket set bought as one. What its parts cost when it is broken open. Plain values.

The cost of a kit is shared out by weights: the shares that were stated, else sale price x quantity, else equally by part. Each
part gets whole minor units of the currency; what is over goes one by one to the largest fractions (largest remainder), so
that the shares add up to the cost exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from shop.kernel.rounding import EXACT

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Inside:
    """A part in a kit: `quantity` of it in one kit; `share` of the cost as stated, of any scale; `price` of one unit."""

    part_id: int
    quantity: Decimal
    share: Decimal | None = None
    price: Decimal | None = None


def weights(parts: Sequence[Inside]) -> list[Decimal]:
    """By stated shares when each part has one and not all are 0; else by sale price when each has one; else equal."""
    stated = [p.share for p in parts if p.share is not None]
    if len(stated) == len(parts) and any(stated):
        return stated
    priced = [EXACT.multiply(p.price, p.quantity) for p in parts if p.price is not None]
    if len(priced) == len(parts) and any(priced):
        return priced
    return [Decimal(1)] * len(parts)


def spread(cost: Decimal, by: Sequence[Decimal], minor: Decimal) -> list[Decimal]:
    """`cost` in parts that add up to it exactly, each a multiple of `minor` (0.01) but for the largest, which also takes what
    of the cost is finer than that. `by` are weights, not below zero and not all zero."""
    whole = sum(by, ZERO)
    units = int(EXACT.divide_int(cost, minor))
    exact = [EXACT.divide(EXACT.multiply(Decimal(units), w), whole) for w in by]
    floors = [int(e) for e in exact]
    over = units - sum(floors)
    order = sorted(range(len(by)), key=lambda n: (floors[n] - exact[n], n))
    for n in order[:over]:
        floors[n] += 1
    shares = [EXACT.multiply(Decimal(n), minor) for n in floors]
    rest = EXACT.subtract(cost, EXACT.multiply(Decimal(units), minor))
    if rest:
        largest = max(range(len(by)), key=lambda n: (by[n], -n))
        shares[largest] = EXACT.add(shares[largest], rest)
    return shares


def lots_of(amount: Decimal, quantity: Decimal, minor: Decimal) -> list[tuple[Decimal, Decimal]]:
    """(quantity, cost of a unit) of the lots that `quantity` worth `amount` becomes: one, or two when the amount does not
    divide. Quantity times cost adds up to the amount exactly: 3 worth 10.00 are 2 at 3.33 and 1 at 3.34."""
    each = EXACT.divide(amount, quantity)
    if _fits(each) and EXACT.multiply(each, quantity) == amount:
        return [(quantity, each)]
    low = EXACT.multiply(EXACT.divide_int(each, minor), minor)
    piece = Decimal(1).scaleb(min(0, int(quantity.normalize().as_tuple().exponent)))
    over = EXACT.divide(EXACT.subtract(amount, EXACT.multiply(quantity, low)), EXACT.multiply(piece, minor))
    if over == int(over):
        more = EXACT.multiply(over, piece)
        return [(EXACT.subtract(quantity, more), low), (more, EXACT.add(low, minor))]
    # finer than the minor unit: one unit, or the largest power of ten below it, takes what is over
    apart = Decimal(1).scaleb(min(0, quantity.adjusted()))
    rest = EXACT.subtract(quantity, apart)
    return [(rest, low), (apart, EXACT.divide(EXACT.subtract(amount, EXACT.multiply(rest, low)), apart))]


def _fits(cost: Decimal) -> bool:
    return cost == cost.quantize(Decimal("0.000001"))
