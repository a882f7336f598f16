from __future__ import annotations

from decimal import Decimal

from django import template

from shop.kernel.rounding import round_money
from shop.ui.formats import money

register = template.Library()


@register.filter
def cents(value: Decimal | None, currency: str) -> str:
    """A value of the ledger, kept to the millionth, as an amount of money."""
    return money(None if value is None else round_money(value, currency), currency)
