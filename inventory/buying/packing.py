"""Packages and their prices, on plain values."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

from shop.kernel import quantity, units
from shop.kernel.decimals import as_decimal, decimals_of
from shop.kernel.errors import BadInput, field_error
from shop.kernel.rounding import EXACT, round_money, round_to

PRICE_LIMIT = Decimal(10) ** 8
PRICE_DECIMALS = 6


class Step(NamedTuple):
    """From so many packages on, one package costs `price`."""

    from_packages: Decimal
    price: Decimal


def per_package(content: Decimal, content_unit: str, part_unit: str) -> Decimal:
    """What a package of `content` holds in the part's unit, exactly.

    Raises BadInput at `content` or `content_unit`: nothing in it, another dimension, a conversion that does not come out
    (a foot in yards), or finer than the part is counted (half a piece).
    """
    quantity.positive(as_decimal(content, "content"), content_unit, field="content")
    try:
        held = units.convert(content, content_unit, part_unit)
    except BadInput as error:
        raise field_error("content_unit", error.message, code=error.code) from None
    return quantity.positive(held, part_unit, field="content")


def price(value: Decimal, field: str = "price") -> Decimal:
    """A price of one package that can be right. Raises BadInput at `field`."""
    amount = as_decimal(value, field)
    if amount < 0:
        raise field_error(field, "A price can't be below zero. Give 0 for what is free.", code="negative")
    if amount >= PRICE_LIMIT:
        raise field_error(field, "This price is too large to be right.", code="too-large")
    if decimals_of(amount) > PRICE_DECIMALS:
        raise field_error(field, f"A price has at most {PRICE_DECIMALS} decimals.", code="too-many-decimals")
    return amount


def steps(given: Iterable[Step]) -> list[Step]:
    """Price breaks in order. Raises BadInput at `prices`: two for the same quantity, a price or quantity that can't be."""
    found = sorted(
        (Step(whole(s.from_packages, "prices"), price(s.price, "prices")) for s in given), key=lambda s: s[0]
    )
    for lower, upper in itertools.pairwise(found):
        if lower.from_packages == upper.from_packages:
            raise field_error(
                "prices", f"There are two prices from {lower.from_packages.normalize():f} on. Keep one.", code="twice"
            )
    return found


def whole(value: Decimal, field: str) -> Decimal:
    """So many packages: a whole number above zero. Raises BadInput at `field`."""
    return quantity.positive(as_decimal(value, field), "C62", field=field)


def price_of(prices: Sequence[Step], packages: Decimal) -> Decimal | None:
    """What one package costs when so many are ordered: the last break reached, or the first for fewer than it asks.
    None when no price is known."""
    reached = [s.price for s in prices if s.from_packages <= packages]
    return reached[-1] if reached else prices[0].price if prices else None


def packages_for(wanted: Decimal, held: Decimal, least: Decimal = Decimal(1)) -> Decimal:
    """Whole packages of `held` that cover `wanted`, at least `least`."""
    needed = EXACT.divide(wanted, held).to_integral_value(rounding=ROUND_CEILING)
    return max(needed, least)


def net(amount: Decimal, price_: Decimal, price_per: Decimal, currency: str) -> Decimal:
    """`amount` at `price_` for each `price_per` of it, rounded once to the cent of the currency."""
    return round_money(EXACT.divide(EXACT.multiply(amount, price_), price_per), currency)


def unit_price(price_: Decimal, price_per: Decimal) -> Decimal:
    """The price of one unit out of a package, at six decimals, to compare and to print."""
    return round_to(EXACT.divide(price_, price_per), PRICE_DECIMALS)
