"""What is to be counted: which difference needs a second look, and what is due. Pure: plain values in and out.

Cycle counting by value class: the few parts that most of the money goes through are counted often, the many cheap ones
seldom (ABC analysis after Pareto's rule; the shares and intervals are common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

ZERO = Decimal(0)
SHARES = (("A", Decimal("0.80")), ("B", Decimal("0.95")), ("C", Decimal(1)))  # of the yearly value used, cumulated
DAYS = {"A": 90, "B": 180, "C": 365}  # after so many days since the last count
MOVES = {"A": 20, "B": 40, "C": 80}  # or after so many movements


def needs_second_look(
    counted: Decimal, expected: Decimal, unit_cost: Decimal, *, limit_value: Decimal, limit_percent: Decimal
) -> bool:
    """Whether a difference is beyond a limit: worth at least `limit_value`, or at least `limit_percent` of what was expected
    (where nothing was expected, any)."""
    difference = abs(counted - expected)
    if not difference:
        return False
    return difference * unit_cost >= limit_value or difference * 100 >= limit_percent * expected


def classes(used: Mapping[int, Decimal]) -> dict[int, str]:
    """A, B or C of each part by the value `used` in a year: A until 80 % of all value is reached, B until 95 %, C the rest.
    The part with which a share is reached still belongs to it. What was not used is C."""
    total = sum(used.values(), ZERO)
    found: dict[int, str] = {}
    before = ZERO
    for part, value in sorted(used.items(), key=lambda item: (-item[1], item[0])):
        found[part] = (
            next(name for name, share in SHARES if name == "C" or before < share * total) if value > 0 else "C"
        )
        before += value
    return found


@dataclass(frozen=True, slots=True)
class Counted:
    """A part in a bin: how often it moved since it was last counted there, and when that was (or, never counted, when it
    first came)."""

    part_id: int
    bin_id: int
    last: date
    moves: int


@dataclass(frozen=True, slots=True)
class Due:
    place: Counted
    value_class: str
    urgency: Decimal  # 1: just due, 2: twice as long or as many movements as it should be

    @property
    def why(self) -> str:
        days = f"last counted {self.place.last:%Y-%m-%d}"
        return f"class {self.value_class}, {days}, {self.place.moves} movements since"


def due(places: Iterable[Counted], used: Mapping[int, Decimal], today: date, *, most: int) -> list[Due]:
    """At most `most` of the places that are due, the most urgent first; equally urgent ones by class, bin and part."""
    of = classes(used)
    found = []
    for place in places:
        name = of.get(place.part_id, "C")
        days = Decimal(max((today - place.last).days, 0))
        urgency = max(days / DAYS[name], Decimal(place.moves) / MOVES[name])
        if urgency >= 1:
            found.append(Due(place, name, urgency))
    found.sort(key=lambda d: (-d.urgency, d.value_class, d.place.bin_id, d.place.part_id))
    return found[:most]
