"""Days that are closed: their month was added up for the books, and nothing is dated back into it.

An action that takes a day from whoever fills it in asks here; who knows of closed months is a room above
(`jobs/books`), which appends to GUARDS when the app starts.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from . import clock

# Called in the same write with the day and the field it was given in. Raises BadInput when its month is closed; else the
# month stays open until the commit.
GUARDS: list[Callable[[date, str], object]] = []


def must_be_open(day: date, *, field: str) -> None:
    """Raises BadInput at `field` when the month of `day` (on the shop's calendar) is closed. The current month never is."""
    if day >= clock.today().replace(day=1):
        return
    for ask in GUARDS:
        ask(day, field)
