"""Landed cost: what a delivery's lines cost with freight and duty. On plain values, to the cent."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import NamedTuple

from shop.kernel.money import Money, split
from shop.kernel.rounding import EXACT, round_money, round_to

COST_DECIMALS = 6


class Landed(NamedTuple):
    """One line: its shares of freight and duty in the delivery's currency, and all of it in the shop's."""

    freight: Decimal
    duty: Decimal
    value: Decimal


def landed(
    nets: Sequence[Decimal], freight: Decimal, duty: Decimal, currency: str, *, rate: Decimal, into: str
) -> list[Landed]:
    """Spread freight and duty over lines by their net value, in whole cents, so that the shares add up to what was paid: each
    share is cut to the cent and the cents left over go to the largest remainders. Lines that are all free share alike.

    `rate` is what one unit of `currency` is in `into`; the sum is converted and rounded once, then spread the same way.
    Raises BadInput for amounts that are no whole cents.
    """
    if not nets:
        return []
    weights = list(nets) if any(nets) else [Decimal(1)] * len(nets)
    freights = _shares(freight, weights, currency)
    duties = _shares(duty, weights, currency)
    sums = [n + f + d for n, f, d in zip(nets, freights, duties, strict=True)]
    total = round_money(EXACT.multiply(sum(sums, Decimal(0)), rate), into)
    values = _shares(total, sums, into) if any(sums) else [Decimal(0)] * len(sums)
    return [Landed(f, d, v) for f, d, v in zip(freights, duties, values, strict=True)]


def unit_cost(value: Decimal, quantity: Decimal) -> Decimal:
    """What one unit costs, at the six decimals that the ledger keeps."""
    return round_to(EXACT.divide(value, quantity), COST_DECIMALS)


def cost_now(
    goods: Decimal, extras: Decimal, received: Decimal, sent_back: Decimal, charged: Decimal, difference: Decimal
) -> Decimal:
    """What one unit of a line costs with all that invoices and credit notes said otherwise than its receipt.

    `goods` and `extras` (freight, duty) are what the whole line was landed at; `difference` is what is charged more for `charged`
    units, less what was credited. What went back costs nothing in the end: it is not charged, or credited. So the units kept
    bear all the extras and, when no more than they are charged, all the difference: they are worth what is paid for them.
    While more is charged than was kept, only their share of the difference counts.
    """
    kept, paid = received - sent_back, min(charged, received)
    each = EXACT.divide(goods, received) + EXACT.divide(extras, kept or received)
    if over := max(kept, paid):
        each += EXACT.divide(difference, over)
    return round_to(each, COST_DECIMALS)


def taken_out(counted: Decimal, charged: Iterable[Decimal]) -> Decimal:
    """How much of the freight (or duty) that was `counted` into goods when they came is out of their cost again, after invoices
    and credit notes that charged so much of it (credited: below zero), in their order: what was charged of it once and no
    longer is. What is charged beyond what was counted never went in, so its credit takes nothing out."""
    covered = most = total = Decimal(0)
    for amount in charged:
        total += amount
        covered = max(min(counted, total), Decimal(0))
        most = max(most, covered)
    return most - covered


def _shares(amount: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    return [m.amount for m in split(Money(amount, currency), weights)]
