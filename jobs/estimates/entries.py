"""What a person types into a line, checked. Shared by estimates and invoices."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from shop.kernel import units
from shop.kernel.decimals import as_decimal, decimals_of, plain
from shop.kernel.errors import Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.text import clean_line, clean_text

from .models import LineKind, PricedLine
from .pricing import PRICE_DECIMALS

MOST_LINES = 2000
PRICE_LIMIT = Decimal(10) ** 8
FIGURES = frozenset({"quantity", "unit_price"})
COMMON = frozenset(
    {
        "kind",
        "text",
        "detail",
        "quantity",
        "unit",
        "unit_price",
        "discount_percent",
        "discount_reason",
        "tax_code",
        "cost",
    }
)


def checked(values: dict[str, Any], line: PricedLine | None = None) -> dict[str, Any]:
    """The values cleaned; `line` is the one being changed. Raises BadInput naming the field.

    A quantity fits its unit, a price has at most 6 decimals, a discount lies within 0 to 100 percent and has a reason.
    """
    now = dict(values)
    if "kind" in now and now["kind"] not in LineKind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(LineKind.values) + ".", code="unknown-kind")
    if "text" in now:
        now["text"] = clean_line(now["text"] or "", field="text", required=True, max_length=240)
    if "detail" in now:
        now["detail"] = clean_text(now["detail"] or "", field="detail", max_length=4000)
    if "unit" in now:
        units.unit(now["unit"])
    if "quantity" in now or "unit" in now:
        unit = now.get("unit") or (line.unit if line else "C62")
        quantity = now.get("quantity", line.quantity if line else None)
        if quantity is None:
            raise field_error("quantity", "Give a quantity above zero.", code="not-positive")
        positive(as_decimal(quantity, "quantity"), unit)
    for name in ("unit_price", "cost"):
        if now.get(name) is not None:
            price(now[name], name)
    if "discount_percent" in now or "discount_reason" in now:
        percent = now.get("discount_percent", line.discount_percent if line else Decimal(0)) or Decimal(0)
        reason = now.get("discount_reason", line.discount_reason if line else "")
        now["discount_percent"], now["discount_reason"] = discount(percent, reason)
    return now


def refuse_too_many(lines: int, why: str = "") -> None:
    """A longer document could be neither answered nor read. `why`: where so many come from, and what to do besides. Raises
    Refused."""
    if lines > MOST_LINES:
        raise Refused(
            f"A document has at most {MOST_LINES} lines. {why or 'Put several into one.'}",
            code="too-many-lines",
            lines=lines,
        )


def price(value: Decimal, field: str = "unit_price") -> Decimal:
    """A price per unit, net of tax: 0 or more, at most 6 decimals."""
    amount = as_decimal(value, field)
    if amount < 0:
        raise field_error(field, "A price can't be below zero.", code="negative-price")
    if amount >= PRICE_LIMIT:
        raise field_error(field, "This price is too large to be right.", code="too-large")
    if decimals_of(amount) > PRICE_DECIMALS:
        raise field_error(field, f"A price has at most {PRICE_DECIMALS} decimals.", code="too-many-decimals")
    return amount


def discount(percent: Decimal, reason: str) -> tuple[Decimal, str]:
    """Percent and reason of a discount; no reason is kept for none."""
    percent = as_decimal(percent, "discount_percent")
    if not 0 <= percent <= 100:
        raise field_error(
            "discount_percent", f"A discount lies between 0 and 100 percent, not {plain(percent)}.", code="bad-discount"
        )
    if decimals_of(percent) > 3:
        raise field_error("discount_percent", "A discount has at most 3 decimals.", code="too-many-decimals")
    if not percent:
        return percent, ""
    reason = clean_line(reason or "", field="discount_reason", max_length=120)
    if not reason:
        raise field_error("discount_reason", "Say why the discount is given.", code="reason-missing")
    return percent, reason
