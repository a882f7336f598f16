"""The owner's terms of payment, checked. Plain values in and out. Every figure is an example until an adviser confirms it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from shop.kernel.findings import Findings
from shop.kernel.rounding import minor_units

LEVELS: Final = (1, 2, 3)
AMOUNTS: Final = {
    "remind_fee_1": Decimal(1000), "remind_fee_2": Decimal(1000), "remind_fee_3": Decimal(1000),
    "storage_per_day": Decimal(10_000), "cash_step": Decimal(100),
}  # fmt: skip
PERCENTS: Final = {"early_percent": Decimal(50), "interest_percent": Decimal(100)}
DAYS: Final = {
    "early_days": (0, 365), "remind_days_1": (0, 365), "remind_days_2": (1, 365), "remind_days_3": (1, 365),
    "remind_pay_days": (1, 365), "interest_from": (1, 4), "storage_free_days": (0, 3650),
}  # fmt: skip


def check_terms(given: Mapping[str, Any], before: Mapping[str, Any], currency: str) -> dict[str, Any]:
    """The values to be changed. `before`: as they are so far. Raises BadInput naming every wrong field."""
    values, found = dict(given), Findings()
    places = minor_units(currency)
    for name, highest in AMOUNTS.items():
        found.amount(values, name, highest, places, f"Give 0 to {highest} {currency}, with at most {places} decimals.")
    for name, highest in PERCENTS.items():
        found.amount(values, name, highest, 3, f"Give a percentage from 0 to {highest}, with at most 3 decimals.")
    for name, (least, most) in DAYS.items():
        if name in values and not (isinstance(values[name], int) and least <= values[name] <= most):
            found.add(name, f"Give {least} to {most}.")
    whole = {**before, **values}
    if bool(whole["early_percent"]) != bool(whole["early_days"]):
        found.add(
            "early_days" if whole["early_percent"] else "early_percent",
            "A discount for early payment needs both a percentage and days. Give both, or 0 for none.",
        )
    found.raise_any()
    return values
