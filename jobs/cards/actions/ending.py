"""What else comes to an end with the work on stages; this room can't know it."""

from __future__ import annotations

from collections.abc import Callable, Collection

from shop.people.models import Person

from ..models import Stage

# Called in the same write when nothing more is done on stages (finished, declined, removed, their card closed), with the
# stages and who did it (None: the customer by link). Rooms above append to it once, when the app starts.
WORK_ENDS: list[Callable[[Collection[Stage], Person | None], object]] = []


def work_ends(stages: Collection[Stage], by: Person | None) -> None:
    for end in WORK_ENDS:
        end(stages, by)
