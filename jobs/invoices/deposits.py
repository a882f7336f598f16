"""Deposits: how one is shared over VAT rates, and what a later invoice takes off for it. Plain values; no table, no clock.

A deposit invoice charges VAT when the money is asked for (Directive 2006/112/EC, Art. 65). So the later invoice takes the
deposit's net off at the same rate, as lines below zero, and charges VAT on the rest alone: were the whole VAT stated again, it
would be owed twice (Art. 203). EN 16931 carries it that way too; its paid amount (BT-113) can't say which VAT was charged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from jobs.estimates.pricing import Priced, discounts, total
from shop.kernel.money import Money, split
from shop.kernel.totals import Vat, percent_of, vat_on

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Share:
    """So much of a deposit invoice at one VAT rate: `net` and the `tax` charged on it, in its currency."""

    deposit: int
    number: str
    on: date
    vat: Vat
    tax_code: str
    net: Decimal
    tax: Decimal


def by_rate(amount: Decimal, weights: Mapping[str, Decimal], currency: str) -> dict[str, Decimal]:
    """`amount`, net, over tax codes in proportion to what is agreed at each; the shares add up to it. Codes with nothing are
    left out. Raises BadInput for an amount finer than the minor unit."""
    codes = [code for code, weight in weights.items() if weight > 0]
    shares = split(Money(amount, currency), [weights[code] for code in codes])
    return {code: share.amount for code, share in zip(codes, shares, strict=True) if share.amount}


def percent(of: Decimal, rate: Decimal, currency: str) -> Decimal:
    """`rate` percent of a net amount, rounded once."""
    return percent_of(of, rate, currency)


def allowances(lines: Iterable[Priced], rate: Decimal, currency: str) -> dict[Vat, Decimal]:
    """The document's discount by VAT rate. It is taken off what is charged, not off what deposits already charged."""
    return discounts(lines, rate, currency) if rate else {}


def take(left: Sequence[Share], lines: Sequence[Priced], rate: Decimal, currency: str) -> list[Share]:
    """What an invoice of these lines and this discount takes off for deposits, the first ones first: of each VAT rate at most
    the net that the invoice charges at it, and in all no more than it charges, so that neither falls below zero.

    VAT of deposits, each rounded, may be cents more than that on their sum: they are taken off what is still charged; where
    nothing is, they are left of the deposits and credited."""
    whole = total(lines, currency, rate)
    room = {group.vat: group.taxable for group in whole.groups}
    taken = []
    for share in left:
        net = min(share.net, room.get(share.vat, ZERO))
        if net > 0:
            room[share.vat] -= net
            tax = share.tax if net == share.net else min(share.tax, vat_on(net, share.vat.rate, currency))
            taken.append(replace(share, net=net, tax=tax))
    most = whole.gross - sum((x.net for x in taken), ZERO)
    for n, share in enumerate(taken):
        taken[n] = replace(share, tax=min(share.tax, most))
        most -= taken[n].tax
    return taken


def less(share: Share, net: Decimal) -> Share:
    """The share when `net` of it is gone; its tax is not looked at any more."""
    return replace(share, net=share.net - net)


def rounding(lines: Sequence[Priced], taken: Iterable[tuple[Decimal, Decimal]], rate: Decimal, currency: str,
             gross: Decimal) -> Decimal:  # fmt: skip
    """BT-114 of an invoice that takes off deposits (`taken`: net and tax of each) and comes to `gross`: the cents by which
    VAT on the rest differs from VAT on the whole less the deposits', so that all of them come to the whole exactly."""
    whole = total(lines, currency, rate).gross
    return whole - sum((net + tax for net, tax in taken), ZERO) - gross
