"""What a part is sold at: the price set by hand, else what the rules make of its cost. Plain values.

Amounts are per unit of the part, before tax, in the shop's currency. A rule says a markup in percent of cost for a band of
cost, and may be for one kind of part, one class of customer, or both.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, Decimal
from typing import Final

from shop.kernel.folding import fold
from shop.kernel.rounding import EXACT, round_to_step

HUNDRED: Final = Decimal(100)
STEPS: Final = tuple(map(Decimal, ("0.0001", "0.01", "0.05", "0.10", "0.50", "1")))
HAND, RULE, NONE = "hand", "rule", "none"


@dataclass(frozen=True, slots=True)
class Rule:
    """`kind` and `customer_class` "": any. Cost from `cost_from` up to, but not with, `cost_below` (None: no end). Holds from
    `valid_from` to `valid_to`, that day included (None: no end). The price is a multiple of `step`."""

    id: int
    name: str
    markup_percent: Decimal
    cost_from: Decimal
    cost_below: Decimal | None
    valid_from: date
    valid_to: date | None = None
    kind: str = ""
    customer_class: str = ""
    step: Decimal = Decimal("0.01")

    def fits(self, cost: Decimal, kind: str, customer_class: str, day: date) -> bool:
        return (
            self.kind in ("", kind)
            and (not self.customer_class or fold(self.customer_class) == fold(customer_class))
            and self.cost_from <= cost
            and (self.cost_below is None or cost < self.cost_below)
            and self.valid_from <= day
            and (self.valid_to is None or day <= self.valid_to)
        )

    def of(self, cost: Decimal) -> Decimal:
        """Cost and markup, to the nearest step, half up; never below the cost by rounding."""
        exact = EXACT.divide(EXACT.multiply(cost, HUNDRED + self.markup_percent), HUNDRED)
        found = round_to_step(exact, self.step)
        if found < cost:
            steps = EXACT.divide(cost, self.step).to_integral_value(ROUND_CEILING)
            found = EXACT.multiply(steps, self.step)
        return found

    def crosses(self, other: Rule) -> bool:
        """Whether both could give a price to the same part on the same day, with nothing to choose between them by."""
        return (
            self.kind == other.kind
            and fold(self.customer_class) == fold(other.customer_class)
            and (self.cost_below is None or other.cost_from < self.cost_below)
            and (other.cost_below is None or self.cost_from < other.cost_below)
            and (self.valid_to is None or other.valid_from <= self.valid_to)
            and (other.valid_to is None or self.valid_from <= other.valid_to)
        )


@dataclass(frozen=True, slots=True)
class Price:
    """`source`: "hand" (set on the part), "rule" (by `rule`, from `cost`), "none". `why` there is none, in words."""

    amount: Decimal | None
    source: str
    rule: Rule | None = None
    cost: Decimal | None = None
    why: str = ""


def price(
    by_hand: Decimal | None,
    cost: Decimal | None,
    rules: Iterable[Rule],
    *,
    kind: str,
    customer_class: str = "",
    day: date,
) -> Price:
    """The sale price of one unit. A price set by hand wins; else the closest rule that fits: for class and kind, then for the
    class, then for the kind, then for all."""
    if by_hand is not None:
        return Price(by_hand, HAND, cost=cost)
    known = list(rules)
    if not known:
        return Price(None, NONE, cost=cost, why="It has no price of its own, and there is no price rule yet.")
    if cost is None:
        return Price(None, NONE, why="It has no price of its own, and what it costs is not known yet.")
    fitting = [rule for rule in known if rule.fits(cost, kind, customer_class, day)]
    if not fitting:
        return Price(None, NONE, cost=cost, why="It has no price of its own, and no price rule fits it.")
    best = max(fitting, key=lambda r: (bool(r.customer_class), bool(r.kind), -r.id))
    return Price(best.of(cost), RULE, best, cost)
