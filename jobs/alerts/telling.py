"""What is told, and whom. Pure: plain values in and out, quantities in the part's unit.

A finding is one thing that asks for somebody. Its `state` says when it has changed enough to be told again: a lot that
nears its last day is told three times (a month before, a week before, when it is over), not thirty.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final

ZERO: Final = Decimal(0)
FIRST_HOUR: Final = 5  # the shop's day begins: lists are made before work
NEAR: Final = ((7, "week"), (30, "month"))  # days before the last one
MOST: Final = 60  # of one kind; the rest is told as a number

# By urgency, the first first: who can do something about it. Any of the rights is enough.
CONCERNS: Final[dict[str, tuple[str, ...]]] = {
    "expired": ("stock.scrap",),
    "danger": ("cards.edit", "stock.move"),
    "overdue": ("buying.edit",),
    "expiring": ("stock.scrap",),
    "low": ("reorder.edit",),
}
RANK: Final = {kind: n for n, kind in enumerate(CONCERNS, 1)}


@dataclass(frozen=True, slots=True)
class Finding:
    key: str
    kind: str
    state: str
    due_on: date | None = None
    facts: dict[str, Any] = field(default_factory=dict)
    mechanic_id: int | None = None  # whose stage it is about: told, too


def kinds_for(rights: Collection[str]) -> list[str]:
    """What concerns somebody with these rights."""
    return [kind for kind, needed in CONCERNS.items() if any(right in rights for right in needed)]


def day_of(now: datetime) -> date:
    """The day whose list is made at a local moment: before five in the morning it is still the day before."""
    return (now - timedelta(hours=FIRST_HOUR)).date()


def mail_wanted(choice: str, address: str, new: int) -> bool:
    """Whether the day's one mail goes: wanted, somewhere to send it, and something new to say."""
    return choice == "daily" and bool(address) and new > 0


def few(found: Iterable[Finding]) -> list[Finding]:
    """At most `MOST` of each kind in the order given, and one that says how many more there are."""
    kept: list[Finding] = []
    seen: dict[str, int] = {}
    for one in found:
        seen[one.kind] = seen.get(one.kind, 0) + 1
        if seen[one.kind] <= MOST:
            kept.append(one)
    more = {kind: n - MOST for kind, n in seen.items() if n > MOST}
    return kept + [Finding(f"more:{kind}", kind, "more", None, {"more": n}) for kind, n in more.items()]


# --- the shelf ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OnShelf:
    """A part with a reorder point; `left`: on hand and not promised."""

    part_id: int
    number: str
    name: str
    unit: str
    left: Decimal
    point: Decimal


def low(parts: Iterable[OnShelf], coming: Mapping[int, Decimal]) -> list[Finding]:
    """Parts at or below their reorder point for which not enough is on its way, the emptiest first."""
    found = [p for p in parts if p.left + coming.get(p.part_id, ZERO) <= p.point]
    found.sort(key=lambda p: (p.left > 0, p.left / p.point if p.point else p.left, p.number))
    return [
        Finding(
            f"part:{p.part_id}", "low", "none" if p.left <= 0 else "low", None,
            {"part_id": p.part_id, "part": f"{p.number} {p.name}", "unit": p.unit, "left": p.left, "point": p.point},
        )
        for p in found
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ageing:
    """A lot that lies here and keeps until `last_day`."""

    lot_id: int
    lot: str
    part_id: int
    part: str
    unit: str
    quantity: Decimal
    bins: tuple[str, ...]
    last_day: date


def ageing(lots: Iterable[Ageing], today: date) -> list[Finding]:
    """Lots that are over or will be within a month, the oldest first."""
    found = []
    for lot in sorted(lots, key=lambda each: (each.last_day, each.lot_id)):
        left = (lot.last_day - today).days
        near = "over" if left < 0 else next((name for days, name in NEAR if left <= days), "")
        if near:
            kind = "expired" if near == "over" else "expiring"
            facts = {
                "lot_id": lot.lot_id, "lot": lot.lot, "part_id": lot.part_id, "part": lot.part, "unit": lot.unit,
                "quantity": lot.quantity, "bins": ", ".join(lot.bins), "last_day": lot.last_day,
            }  # fmt: skip
            found.append(Finding(f"lot:{lot.lot_id}", kind, f"{near} {lot.last_day}", lot.last_day, facts))
    return found


# --- orders ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Awaited:
    """A line of an order that is still to come, in whole or in part."""

    order_id: int
    order: str
    supplier: str
    due_on: date
    asked_on: date | None


def overdue(lines: Iterable[Awaited], today: date) -> list[Finding]:
    """One for each order of which something should have come before today, the longest awaited first."""
    orders: dict[int, list[Awaited]] = {}
    for line in lines:
        if line.due_on < today:
            orders.setdefault(line.order_id, []).append(line)
    found = []
    for order_id, late in orders.items():
        first = min(late, key=lambda each: each.due_on)
        facts = {
            "order_id": order_id, "order": first.order, "supplier": first.supplier, "lines": len(late),
            "due_on": first.due_on, "asked_on": first.asked_on,
        }  # fmt: skip
        found.append(Finding(f"order:{order_id}", "overdue", f"{len(late)} since {first.due_on}", first.due_on, facts))
    return sorted(found, key=lambda each: (each.due_on or today, each.key))
