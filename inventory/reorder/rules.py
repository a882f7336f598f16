"""Which rule holds for a part: its own, its kind's, the shop's, or what is usual. On plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class Rule:
    """`service_percent`: in so many of 100 waits for a delivery nothing may be missing. Money in the shop's currency."""

    service_percent: Decimal
    order_cost: Decimal
    holding_percent: Decimal
    lead_days: int
    review_days: int
    for_cards_only: bool


USUAL = Rule(
    service_percent=Decimal(95), order_cost=Decimal(6), holding_percent=Decimal(20), lead_days=7, review_days=7,
    for_cards_only=False,
)  # fmt: skip
NAMES = tuple(field.name for field in fields(Rule))


def resolve(*given: Mapping[str, Any] | None) -> Rule:
    """From rows of settings, the narrowest first: the first that says something counts, for each setting by itself."""
    said = {
        name: next((row[name] for row in given if row and row.get(name) is not None), getattr(USUAL, name))
        for name in NAMES
    }
    return Rule(**said)


def where(name: str, *given: tuple[str, Mapping[str, Any] | None]) -> str:
    """Which of the named rows decides a setting: "usual" when none does."""
    return next((title for title, row in given if row and row.get(name) is not None), "usual")
