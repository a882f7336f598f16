"""Nets and totals of a draft, written onto its rows. The one way an estimate or invoice gets its figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from shop.kernel.totals import Totals, Vat

from . import pricing
from .models import MoneyDocument, PricedLine


def reckon(
    document: MoneyDocument,
    lines: Sequence[PricedLine],
    reasons: dict[str, str] | None = None,
    allowances: Mapping[Vat, Decimal] | None = None,
    base_of: Callable[[Any], Iterable[PricedLine]] | None = None,
) -> Totals:
    """Set `net` of each line and the totals of `document`; nothing is saved. Raises BadInput.

    A line of sundries that is a percentage follows the others. `reasons`: why no tax is due, by tax code. `allowances`: the
    document's discount by tax rate, where it isn't simply its percentage (the last credit note of an invoice). `base_of`: the
    lines that such a percentage is of, where it isn't of all others.
    """
    currency = document.currency
    for line in lines:
        if line.basis.get("price") == "percent":
            others = lines if base_of is None else base_of(line)
            base = pricing.sundries_base((x for x in others if x is not line), currency)
            line.unit_price = pricing.percent_of(base, Decimal(line.basis["percent"]), currency)
            line.basis = line.basis | {"base": str(base)}
        line.net = pricing.net(line, currency)
    totals = pricing.total(lines, currency, document.discount_percent, allowances)
    document.tax_groups = groups(lines, totals, reasons or {})
    document.sum_net, document.total_net = totals.lines, totals.net
    document.total_tax, document.total_gross = totals.vat, totals.gross
    return totals


def groups(lines: Sequence[Any], totals: Totals, reasons: dict[str, str]) -> list[dict[str, str]]:
    """The tax table as it is kept: category, percent, sum of lines, discount, base, tax, and why no tax is due."""
    sums: dict[Vat, Decimal] = {}
    why: dict[Vat, str] = {}
    for line in lines:
        if pricing.is_counted(line):
            vat = Vat(line.tax_category, line.tax_percent)
            sums[vat] = sums.get(vat, pricing.ZERO) + line.net
            why[vat] = why.get(vat) or reasons.get(line.tax_code, "")
    return [
        {
            "category": group.vat.category,
            "percent": f"{group.vat.rate.normalize():f}",
            "lines": str(sums.get(group.vat, pricing.ZERO)),
            "discount": str(sums.get(group.vat, pricing.ZERO) - group.taxable),
            "base": str(group.taxable),
            "tax": str(group.tax),
            "reason": why.get(group.vat, ""),
        }
        for group in totals.groups
    ]


TOTALS = ("tax_groups", "sum_net", "total_net", "total_tax", "total_gross")
