from __future__ import annotations

from decimal import Decimal

from django import template

from shop.kernel.decimals import plain
from shop.ui import formats

register = template.Library()


@register.filter
def count(value: Decimal | None) -> str:
    """So many packages, without the zeros of the column."""
    return formats.number(None if value is None else Decimal(plain(value)))
