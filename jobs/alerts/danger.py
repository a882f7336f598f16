"""Which promised days are in danger by the parts. Pure: plain values in and out, quantities in the part's unit.

Two ways: what is kept goes bad before the day, or what is on its way arrives after it. Who gets what of the deliveries is
told by the draws room; the lots of what is kept are shared out here, in thought only, the soonest promised first.
"""

from __future__ import annotations

from collections.abc import Iterable
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
class Arriving:
    """So much of what is missing for a stage comes with orders that name their days, the last of it on `by` with `order`."""

    wanted: Wanted
    quantity: Decimal
    by: date
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


def comes_late(arriving: Iterable[Arriving], today: date) -> list[Finding]:
    """What comes after the promised day; what should have come already comes today at the earliest. What nobody has ordered,
    or nobody knows the day of, is not told here: the one stands under what to order, the other on the order."""
    late = [(x, max(x.by, today)) for x in arriving if max(x.by, today) > x.wanted.promised_on]
    return [_finding(x.wanted, "late", x.quantity, day, x.order) for x, day in late]


def _finding(one: Wanted, why: str, quantity: Decimal, day: date, order: str) -> Finding:
    facts = {
        "why": why, "need_id": one.need_id, "card_id": one.card_id, "card": one.card, "part_id": one.part_id,
        "part": one.part, "unit": one.unit, "quantity": quantity, "promised_on": one.promised_on, "day": day,
        "order": order,
    }  # fmt: skip
    state = f"{why} {day} for {one.promised_on}"
    return Finding(f"{why}:{one.need_id}", "danger", state, one.promised_on, facts, one.mechanic_id)
