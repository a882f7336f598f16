"""Where parts come from and what is on its way, as far as buying knows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.people.models import Person

from .models import Proposal
from .quantity import Break


@dataclass(frozen=True, slots=True)
class Coming:
    """Some of a part that is on its way to a site; None: nobody said when."""

    part_id: int
    site_id: int
    quantity: Decimal
    due_on: date | None
    label: str


@dataclass(frozen=True, slots=True)
class Source:
    """Who sells a part and how; quantities in the part's unit, prices for one of it. `days`: what deliveries took, or as
    promised when there were none."""

    supplier_id: int
    breaks: Sequence[Break]
    pack: Decimal
    least: Decimal
    days: Sequence[tuple[int, int]]  # lead time and its weight
    observed: bool


def coming() -> list[Coming]:
    """All that is awaited. Purchase orders have no place here yet."""
    return []


def sources() -> dict[int, Source]:
    """The usual supplier of each part that has one."""
    return {}


def place(proposal: Proposal, quantity: Decimal, supplier_id: int | None, by: Person) -> str:
    """Have it ordered. Answers in words what came of it; joins the caller's write."""
    return "by hand"
