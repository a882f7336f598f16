"""What is paid when it is paid early or in cash. Plain values; no table, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from shop.kernel.rounding import EXACT, round_money, round_to, round_to_step
from shop.kernel.totals import Vat, percent_of

ZERO = Decimal(0)


def early_discount(due: Decimal, percent: Decimal, currency: str) -> Decimal:
    """What is off for paying early: a percentage of all that is due, VAT in it, rounded once."""
    return percent_of(due, percent, currency)


def early_nets(groups: Iterable[Mapping[str, str]], percent: Decimal, currency: str) -> dict[Vat, Decimal]:
    """The same by VAT rate, net: what the credit note of a discount takes off each (Directive 2006/112/EC, Art. 90: the
    taxable amount is reduced when the price is after the supply)."""
    found = {}
    for g in groups:
        net = percent_of(Decimal(g["base"]), percent, currency)
        if net:
            found[Vat(g["category"], Decimal(g["percent"]))] = net
    return found


def early_left(
    given: Iterable[Mapping[str, str]], credited: Mapping[Vat, Decimal], percent: Decimal, currency: str
) -> dict[Vat, Decimal]:
    """What of a discount for paying early was not credited with the goods since, by VAT rate, net. `given`: the tax groups
    of its credit note; `credited`: what later notes credited at the price less the discount, so percent/(100 - percent) of
    it is discount that went with it."""
    found = {}
    for g in given:
        vat, base = Vat(g["category"], Decimal(g["percent"])), Decimal(g["base"])
        gone = EXACT.divide(EXACT.multiply(credited.get(vat, ZERO), percent), 100 - percent)
        left = base - round_money(gone, currency)
        if left > 0:
            found[vat] = left
    return found


def both(first: Decimal, second: Decimal) -> Decimal:
    """Two percentages off, one after the other, as one: 10 % and then 2 % are 11.8 %. At 3 decimals."""
    return round_to(100 - EXACT.divide(EXACT.multiply(100 - first, 100 - second), Decimal(100)), 3)


def cash_difference(owed: Decimal, paid: Decimal, step: Decimal) -> Decimal:
    """`owed` less `paid` when the two differ by no more than rounding to `step` (0: none); else 0. Above zero: given up,
    below: kept."""
    if not step or paid == owed or paid != round_to_step(owed, step):
        return ZERO
    return owed - paid
