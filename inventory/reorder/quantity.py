"""How much to order: from the order cost and holding cost to what the supplier packs and the shelf can keep. Decimals only.

Economic order quantity: F. W. Harris, How many parts to make at once, 1913; with price breaks for the whole order, the
feasible quantity of least yearly cost (W. J. Stevenson, Operations Management, ch. on inventory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal, localcontext

from shop.kernel.decimals import plain
from shop.kernel.quantity import Quantity
from shop.kernel.rounding import round_to
from shop.kernel.units import unit

ZERO, ONE = Decimal(0), Decimal(1)
HUNDRED = Decimal(100)


@dataclass(frozen=True)
class Break:
    """From this quantity on every unit costs this."""

    quantity: Decimal
    price: Decimal


@dataclass(frozen=True)
class Terms:
    """How a part is bought and kept. Money in the shop's currency, quantities in the part's unit.

    `breaks`: prices by quantity, the first from 0; `pack`: only in multiples of this; `least`: the supplier's minimum;
    `step`: the finest quantity the unit allows; `holding_percent`: of the price, a year. `unit` and `currency` are for words.
    """

    breaks: Sequence[Break]
    order_cost: Decimal
    holding_percent: Decimal
    pack: Decimal = ZERO
    least: Decimal = ZERO
    step: Decimal = ONE
    unit: str = "C62"
    currency: str = ""


@dataclass(frozen=True)
class Amount:
    """What to order and why so much. `reasons` are words for what raised or lowered it, in the order it happened."""

    quantity: Decimal
    price: Decimal
    economic: Decimal
    reasons: list[str] = field(default_factory=list)


def economic(yearly: Decimal, order_cost: Decimal, holding: Decimal) -> Decimal:
    """The quantity at which ordering and holding cost the same: sqrt(2 D S / H). `yearly` demand D, cost of one order S,
    cost H of holding one unit for a year. Nought without demand or order cost. Raises ValueError when holding costs
    nothing, as then no quantity is too large."""
    if yearly <= 0 or order_cost <= 0:
        return ZERO
    if holding <= 0:
        raise ValueError("holding costs nothing: no quantity is the best")
    with localcontext(prec=28):
        return (2 * yearly * order_cost / holding).sqrt()


def yearly_cost(quantity: Decimal, yearly: Decimal, price: Decimal, terms: Terms) -> Decimal:
    """Buying, ordering and holding for a year with orders of this quantity."""
    held = quantity / 2 * price * terms.holding_percent / HUNDRED
    return yearly * price + yearly / quantity * terms.order_cost + held


def price_at(quantity: Decimal, breaks: Sequence[Break]) -> Decimal:
    """The price of a unit when so many are ordered; nought without any price."""
    reached = [b for b in breaks if b.quantity <= quantity]
    return max(reached, key=lambda b: b.quantity).price if reached else breaks[0].price if breaks else ZERO


def best(yearly: Decimal, terms: Terms) -> Decimal:
    """The order quantity of least yearly cost over all price breaks, unrounded; nought where ordering costs nothing or
    prices are not known."""
    ordered = sorted(terms.breaks, key=lambda b: b.quantity)
    candidates: list[Decimal] = []
    for this, following in zip(ordered, [*ordered[1:], None], strict=True):
        holding = this.price * terms.holding_percent / HUNDRED
        wanted = economic(yearly, terms.order_cost, holding) if holding > 0 else ZERO
        wanted = max(wanted, this.quantity)
        if wanted > 0 and (following is None or wanted < following.quantity):
            candidates.append(wanted)
    if not candidates or yearly <= 0:
        return ZERO
    return min(candidates, key=lambda q: (yearly_cost(q, yearly, price_at(q, ordered), terms), q))


def amount(short: Decimal, yearly: Decimal, terms: Terms, most: Decimal | None = None) -> Amount:
    """What to order when `short` units are missing to the level.

    At least what is missing; as much as is cheapest; the supplier's minimum and whole packs; but never more than `most`
    (what will be used before it expires; None: it keeps). Nought when not even the smallest order would be used up.
    """
    reasons: list[str] = []
    wanted = quantity = up(short, terms.step)
    cheap = best(yearly, terms)
    if cheap > quantity:
        quantity = up(cheap, terms.step)
        reasons.append("so many at once cost least to order and keep")
        if price_at(quantity, terms.breaks) < price_at(wanted, terms.breaks):
            reasons.append(_cheaper(wanted, quantity, terms))
    if most is not None and quantity > most:
        quantity = max(down(most, terms.step), ZERO)
        reasons.append("no more than will be used before it expires")
    if ZERO < quantity < terms.least:
        quantity = terms.least
        reasons.append("the supplier's least order")
    if terms.pack > 0 and quantity % terms.pack:
        quantity = up(quantity, terms.pack)
        reasons.append("whole packs")
        if most is not None and quantity > most >= terms.pack:
            quantity = down(most, terms.pack)
    if most is not None and quantity > most:
        quantity = ZERO
        reasons.append("even the smallest order would be too old before it is used")
    return Amount(quantity, price_at(quantity, terms.breaks), cheap, reasons)


def _cheaper(wanted: Decimal, quantity: Decimal, terms: Terms) -> str:
    reached = max(b.quantity for b in terms.breaks if b.quantity <= quantity)
    was, now = (_money(price_at(q, terms.breaks)) for q in (wanted, quantity))
    price = f"{was} to {now} {terms.currency}".rstrip()
    return f"from {Quantity(reached, terms.unit)} on the price falls from {price} per {unit(terms.unit).symbol}"


def _money(price: Decimal) -> str:
    """At least two decimals, more where they count, six at most."""
    text = plain(round_to(price, 6))
    return text if len(text.partition(".")[2]) > 2 else f"{Decimal(text):.2f}"


def up(quantity: Decimal, step: Decimal) -> Decimal:
    return (quantity / step).to_integral_value(ROUND_CEILING) * step


def down(quantity: Decimal, step: Decimal) -> Decimal:
    return (quantity / step).to_integral_value(ROUND_FLOOR) * step


@dataclass(frozen=True)
class Wish:
    """One proposal before the money is looked at. `urgency`: the chance of being short without it; `bare`: what is missing
    to the level, already as the supplier packs it."""

    urgency: Decimal
    quantity: Decimal
    bare: Decimal
    price: Decimal


def within(budget: Decimal | None, wishes: Sequence[Wish]) -> list[Decimal]:
    """Quantities that the budget allows, in the order given: the most urgent first and whole where the money lasts, then
    only what is missing, then nothing. None: no limit."""
    if budget is None:
        return [w.quantity for w in wishes]
    granted, left = [ZERO] * len(wishes), budget
    by_need = sorted(range(len(wishes)), key=lambda n: (-wishes[n].urgency, n))
    for n in by_need:
        wish = wishes[n]
        if (cost := wish.bare * wish.price) <= left:
            granted[n], left = wish.bare, left - cost
    for n in by_need:
        wish = wishes[n]
        more = (wish.quantity - granted[n]) * wish.price
        if granted[n] and more <= left:
            granted[n], left = wish.quantity, left - more
    return granted
