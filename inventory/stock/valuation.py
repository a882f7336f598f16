"""What stock is worth. Pure: plain values in, plain values out; exact decimals, rounded only where money is shown.

First in first out is by lot: every movement carries quantity times the cost of its lot, so the value of stock is the sum of
movement values (IAS 2.25). Moving average is a report beside it (IAS 2.27): a receipt changes the average, an issue leaves
at it. A late price of a lot is `Difference`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from shop.kernel.rounding import EXACT, round_to

ZERO = Decimal(0)
PLACES = 6  # decimals that values are kept with
INTERNAL = frozenset({"transfer"})  # neither in nor out
AT_COST = frozenset({"receipt", "revalue"})  # change the average; all else moves at it


@dataclass(frozen=True, slots=True)
class Worth:
    """Quantity of a part (in its unit) and its value (in the shop's currency), by lots and by moving average."""

    quantity: Decimal = ZERO
    value: Decimal = ZERO
    average_value: Decimal = ZERO

    @property
    def average(self) -> Decimal | None:
        """Moving average of a unit, unrounded; None when there is nothing."""
        return EXACT.divide(self.average_value, self.quantity) if self.quantity else None


Row = tuple[str, Decimal, Decimal]  # kind, signed quantity, signed value of a movement


def roll(start: Worth, rows: Iterable[Row]) -> Worth:
    """`start` after `rows` in the order posted.

    What is sent back leaves at what it cost, as it came (at the average where the rest would be worth less than nothing). By
    moving average a receipt, or what comes out of a kit, adds its cost and a cost difference its amount on what is on hand; whatever leaves, leaves at
    the average of that moment, and what comes back or is found comes in at it (at its lot's cost when nothing is there). The
    unit is not rounded before it is multiplied: value x quantity / on hand.
    """
    quantity, value, average = start.quantity, start.value, start.average_value
    for kind, moved, worth in rows:
        value += worth
        if kind in INTERNAL:
            continue
        back = kind == "sent-back" and average + worth >= 0
        if kind in AT_COST or not quantity or back or (kind == "kit" and moved > 0):
            average += worth
        else:
            average += EXACT.divide(EXACT.multiply(average, moved), quantity)
        quantity += moved
        if not quantity:
            average = ZERO
    return Worth(quantity, value, average)


def kept(worth: Worth) -> Worth:
    """As it is stored: at six decimals."""
    return Worth(worth.quantity, round_to(worth.value, PLACES), round_to(worth.average_value, PLACES))


@dataclass(frozen=True, slots=True)
class Gone:
    """What left a lot for good, and from which bin: a draw less what came back (below zero), scrap, what was sent back, a count difference (of
    either sign)."""

    movement_id: int
    bin_id: int
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Difference:
    """How another cost of a lot is posted. `by_bin`: what the goods that came through each bin cost more in all. `by_use`:
    for each movement by which some left, what that cost more, with the sign of the movement."""

    by_bin: dict[int, Decimal]
    by_use: list[tuple[Gone, Decimal]]
    on_hand: Decimal
    used: Decimal
    on_hand_value: Decimal
    used_value: Decimal


def difference(was: Decimal, now: Decimal, on_hand: Mapping[int, Decimal], gone: Iterable[Gone]) -> Difference:
    """Split the difference of a lot that costs `now` and not `was` per unit, between what lies there (by bin) and what is
    `gone`.

    For each use n x now less n x was, each rounded to six decimals as the movement itself was, so that use and difference
    together are what it would have cost. Each bin gets what is on hand there and what its uses take out again: the sum of
    all is the difference on what is on hand, in every bin and in all.
    """

    def more(quantity: Decimal) -> Decimal:
        return round_to(EXACT.multiply(quantity, now), PLACES) - round_to(EXACT.multiply(quantity, was), PLACES)

    by_use = [(g, more(g.quantity)) for g in gone if g.quantity]
    by_bin = {bin_id: more(quantity) for bin_id, quantity in on_hand.items() if quantity}
    on_hand_value = sum(by_bin.values(), ZERO)
    for g, amount in by_use:
        by_bin[g.bin_id] = by_bin.get(g.bin_id, ZERO) - amount
    return Difference(
        by_bin, by_use, sum(on_hand.values(), ZERO), -sum((g.quantity for g, _ in by_use), ZERO),
        on_hand_value, -sum((amount for _, amount in by_use), ZERO),
    )  # fmt: skip
