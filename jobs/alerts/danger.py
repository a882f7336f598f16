"""Which promised days are in danger by the parts. Pure: plain values in and out, quantities in the part's unit.

Two ways: what is kept goes bad before the day, or what is on its way arrives after it. What is shared out here is shared
out in thought only, the soonest promised first; nothing is kept by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from .telling import Finding

ZERO = Decimal(0)
Place = tuple[int, int]  # part and site


@dataclass(frozen=True, slots=True)
class Wanted:
    """So much of a part for a stage by the promised day of its card: kept for it already, or still missing."""

    need_id: int
    part_id: int
    site_id: int
    quantity: Decimal
    promised_on: date
    card_id: int
    card: str
    part: str
    unit: str
    mechanic_id: int | None = None

    @property
    def place(self) -> Place:
        return self.part_id, self.site_id


@dataclass(frozen=True, slots=True)
class Lying:
    """Some of a part that may be drawn; None: it keeps."""

    part_id: int
    site_id: int
    quantity: Decimal
    last_day: date | None


@dataclass(frozen=True, slots=True)
class OnItsWay:
    """None: nobody said when."""

    part_id: int
    site_id: int
    quantity: Decimal
    due_on: date | None
    order: str


def goes_bad(kept: Iterable[Wanted], lying: Iterable[Lying], today: date) -> list[Finding]:
    """What is kept and can't all be taken from lots that still do on the promised day (or today, when that is over).

    Each takes of the lots that do the one that ends first; so lots that keep longer are left to those who come later, and
    whoever finds none here would find none in any other sharing out.
    """
    shelves: dict[Place, list[list]] = {}
    for lot in lying:
        shelves.setdefault((lot.part_id, lot.site_id), []).append([lot.last_day or date.max, lot.quantity])
    found = []
    for one in sorted(kept, key=lambda w: (w.promised_on, w.need_id)):
        day, missing = max(one.promised_on, today), one.quantity
        lots = sorted(shelves.get(one.place, []), key=lambda row: row[0])
        for row in lots:
            if row[0] >= day:
                taken = min(missing, row[1])
                row[1] -= taken
                missing -= taken
        bad = [row for row in lots if row[0] < day and row[1] > 0]
        if missing > 0 and bad:
            found.append(_finding(one, "bad", missing, bad[-1][0], ""))
            for row in bad:  # it stands for this one and for nobody else
                taken = min(missing, row[1])
                row[1] -= taken
                missing -= taken
    return found


def comes_late(
    missing: Iterable[Wanted], free: Mapping[Place, Decimal], coming: Iterable[OnItsWay], today: date
) -> list[Finding]:
    """What is missing and can only be had from a delivery after the promised day. What nobody has ordered, or nobody knows
    the day of, is not told here: the one stands under what to order, the other on the order."""
    supply: dict[Place, list[list]] = {place: [[date.min, quantity, ""]] for place, quantity in free.items()}
    for line in sorted((c for c in coming if c.due_on), key=lambda c: c.due_on or today):
        day = max(line.due_on or today, today)
        supply.setdefault((line.part_id, line.site_id), []).append([day, line.quantity, line.order])
    found = []
    for one in sorted(missing, key=lambda w: (w.promised_on, w.need_id)):
        left, last = one.quantity, None
        for row in supply.get(one.place, []):
            taken = min(left, row[1])
            row[1] -= taken
            left -= taken
            if taken:
                last = row
            if not left:
                break
        if not left and last and last[0] > one.promised_on:
            found.append(_finding(one, "late", one.quantity, last[0], last[2]))
    return found


def _finding(one: Wanted, why: str, quantity: Decimal, day: date, order: str) -> Finding:
    facts = {
        "why": why, "need_id": one.need_id, "card_id": one.card_id, "card": one.card, "part_id": one.part_id,
        "part": one.part, "unit": one.unit, "quantity": quantity, "promised_on": one.promised_on, "day": day,
        "order": order,
    }  # fmt: skip
    state = f"{why} {day} for {one.promised_on}"
    return Finding(f"{why}:{one.need_id}", "danger", state, one.promised_on, facts, one.mechanic_id)
