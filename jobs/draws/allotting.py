"""Who gets what is free and what is coming. Pure: plain values in, plain values out.

What somebody said stays as it was said (ordered for a need, moved to it). Then what is free on the shelf goes to the cards in
the order of their promised dates, the older card first; then what is coming, the soonest first, to the card that its order
line names, and what that leaves in the same order. Work that still waits for the customer's go-ahead comes last.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Want:
    """So much of a part is still missing for a need: neither drawn nor kept. `label` as on an order line: "card 26-0031"."""

    need_id: int
    missing: Decimal
    promised_on: date | None
    card_id: int
    label: str
    agreed: bool = True

    @property
    def turn(self) -> tuple[bool, bool, date, int, int]:
        return (not self.agreed, self.promised_on is None, self.promised_on or date.max, self.card_id, self.need_id)


@dataclass(frozen=True, slots=True)
class Awaited:
    """So much still comes of an order line; None: nobody knows when. One of a draft goes only to those it is promised to."""

    line_id: int
    quantity: Decimal
    due_on: date | None
    label: str = ""
    sent: bool = True


@dataclass(frozen=True, slots=True)
class Said:
    """So much of an order line is promised to a need by hand."""

    need_id: int
    line_id: int
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Allotted:
    """What a need gets: from the free shelf, from order lines (line, quantity), and what nothing is there for."""

    free: Decimal
    coming: tuple[tuple[int, Decimal], ...]
    short: Decimal

    def of(self, line_id: int) -> Decimal:
        return sum((q for line, q in self.coming if line == line_id), ZERO)


def allot(
    wants: Iterable[Want], free: Decimal, awaited: Iterable[Awaited], said: Iterable[Said] = ()
) -> dict[int, Allotted]:
    """What each need gets of one part at one site. Never more than is there, never more than is missing."""
    turns = sorted(wants, key=lambda w: w.turn)
    lines = sorted(awaited, key=lambda a: (a.due_on is None, a.due_on or date.max, a.line_id))
    missing = {w.need_id: w.missing for w in turns}
    left = {a.line_id: a.quantity for a in lines}
    shelf = dict.fromkeys(missing, ZERO)
    coming: dict[int, dict[int, Decimal]] = {w.need_id: {} for w in turns}

    def give(need: int, line: int, most: Decimal) -> None:
        part = min(missing[need], left[line], most)
        if part > 0:
            missing[need] -= part
            left[line] -= part
            coming[need][line] = coming[need].get(line, ZERO) + part

    promised: dict[int, list[Said]] = {}
    for each in said:
        promised.setdefault(each.need_id, []).append(each)
    for want in turns:
        for each in promised.get(want.need_id, ()):
            if each.line_id in left:
                give(want.need_id, each.line_id, each.quantity)
    for want in turns:
        part = max(min(missing[want.need_id], free), ZERO)
        shelf[want.need_id], free = part, free - part
        missing[want.need_id] -= part
    for its in _rounds(turns, lines):
        for want, line in its:
            give(want.need_id, line.line_id, want.missing)
    return {
        w.need_id: Allotted(shelf[w.need_id], _in_order(coming[w.need_id], lines), missing[w.need_id]) for w in turns
    }


def _rounds(turns: Sequence[Want], lines: Sequence[Awaited]) -> Iterable[Iterable[tuple[Want, Awaited]]]:
    sent = [line for line in lines if line.sent]
    yield ((want, line) for line in sent if line.label for want in turns if want.label == line.label)
    yield ((want, line) for want in turns for line in sent)


def _in_order(given: dict[int, Decimal], lines: Sequence[Awaited]) -> tuple[tuple[int, Decimal], ...]:
    return tuple((line.line_id, given[line.line_id]) for line in lines if line.line_id in given)
