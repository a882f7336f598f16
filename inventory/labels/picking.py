"""What is typed to say which labels: a code a line, with how many behind it. Plain values."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from shop.kernel.errors import field_error

MOST_OF_ONE: Final = 500
MOST: Final = 2000
_COUNT = re.compile(r"(.*?)\s*(?:[×*]|\sx)\s*([0-9]{1,6})\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Pick:
    code: str
    count: int


def read(text: str) -> list[Pick]:
    """ "GKT-041 × 2" on a line is two labels, a code alone is one; a scanner ends each line itself.

    Raises BadInput (field "codes") for nothing, or for more than 2000 labels.
    """
    found: list[Pick] = []
    for line in text.splitlines():
        if not line.strip():
            continue
        counted = _COUNT.fullmatch(line)
        code, count = (counted[1].strip(), int(counted[2])) if counted else (line.strip(), 1)
        if not code or not 1 <= count <= MOST_OF_ONE:
            raise field_error(
                "codes", f"“{line.strip()[:60]}”: give a code and 1 to {MOST_OF_ONE} labels.", code="bad-pick"
            )
        found.append(Pick(code, count))
    if not found:
        raise field_error("codes", "Scan or type at least one bin, part or lot.", code="nothing-picked")
    if sum(p.count for p in found) > MOST:
        raise field_error(
            "codes", f"These are more than {MOST} labels. Print them in several goes.", code="too-many-labels"
        )
    return found


def written(picks: Iterable[Pick]) -> str:
    """As it is typed."""
    return "\n".join(p.code if p.count == 1 else f"{p.code} × {p.count}" for p in picks)
