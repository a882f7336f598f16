"""Ratios of hours. Pure.

The trade does not agree on their names (utilisation, productivity, efficiency), so they are called what they are: hours sold of
hours worked, hours worked of hours attended. The product of the two is hours sold of hours attended.
"""

from __future__ import annotations

from decimal import Decimal

from shop.kernel.rounding import EXACT, round_to


def of_hundred(part: Decimal, whole: Decimal) -> Decimal | None:
    """`part` in per cent of `whole`, both in the same unit, to two decimals, half away from zero. None without a whole."""
    return round_to(EXACT.divide(part * 100, whole), 2) if whole > 0 else None


def each(amount: Decimal, hours: Decimal) -> Decimal | None:
    """`amount` for each of so many `hours`, to the hundredth. None without hours."""
    return round_to(EXACT.divide(amount, hours), 2) if hours > 0 else None
