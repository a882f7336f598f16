"""Demand that is known already, and by when. This room knows nothing of jobs: rooms above it add what they know.

KNOWN_DEMAND.append(open_needs)      # in AppConfig.ready(); open_needs() -> Iterable[Known], in a few queries
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Known:
    """So much of a part will be drawn at a site, beyond what is reserved already; None: as soon as it is there."""

    part_id: int
    site_id: int
    quantity: Decimal
    wanted_on: date | None
    label: str  # "card 26-0031"


KNOWN_DEMAND: list[Callable[[], Iterable[Known]]] = []


def known_demand() -> list[Known]:
    return [known for ask in KNOWN_DEMAND for known in ask()]
