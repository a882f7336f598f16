"""Which lots a draw takes. Pure: plain values in, plain values out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Place:
    """Some of one lot in one bin. `expires_on` is the last day it may be used (None: it keeps)."""

    balance_id: int
    lot_id: int
    lot: str
    bin_id: int
    bin: str
    on_hand: Decimal
    unit_cost: Decimal
    received_at: datetime
    expires_on: date | None
    quarantine: bool

    def expired(self, today: date) -> bool:
        """The expiry day itself still counts as good."""
        return self.expires_on is not None and self.expires_on < today


def order(places: Iterable[Place]) -> list[Place]:
    """Dated lots first, first to expire first; then the others, oldest receipt first; then by lot and bin.

    Common practice for goods with a shelf life (earliest expiry first among unexpired lots, ties by earliest receipt),
    and first in first out for the rest.
    """
    return sorted(
        places,
        key=lambda p: (p.expires_on is None, p.expires_on or date.max, p.received_at, p.lot_id, p.bin, p.bin_id),
    )


def take(places: Sequence[Place], quantity: Decimal) -> list[tuple[Place, Decimal]]:
    """`quantity` out of `places` in the order given: (place, how much), each above zero.

    Raises ValueError when the places hold less; callers check that first and say it in words.
    """
    taken: list[tuple[Place, Decimal]] = []
    missing = quantity
    for place in places:
        if missing <= 0:
            break
        part = min(place.on_hand, missing)
        if part > 0:
            taken.append((place, part))
            missing -= part
    if missing > 0:
        raise ValueError("not enough")
    return taken


def walking(bin_code: str) -> tuple[tuple[bool, int, str], ...]:
    """A key that sorts bins as one walks along them: "A3-02" before "A3-10", "A9" before "A10"."""
    parts = re.findall(r"[0-9]+|[^0-9]+", bin_code.casefold())
    return tuple((not p.isdecimal(), int(p) if p.isdecimal() else 0, p) for p in parts)


def opened_expiry(expires_on: date | None, opened_on: date, open_life_days: int | None) -> date | None:
    """The last day an opened container may be used: the sooner of its expiry and the day of opening plus the days it
    keeps open. None: neither is known."""
    if open_life_days is None:
        return expires_on
    kept = date.fromordinal(min(opened_on.toordinal() + open_life_days, date.max.toordinal()))
    return min(kept, expires_on) if expires_on else kept
