"""The one lock of links between parts. Two links that are each fine alone could together close a circle."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from shop.kernel.errors import NotFound

from .models import KitPart, Part, Replacement

Pairs = Iterable[tuple[int, int]]
Steps = dict[int, list[int]]


def replacements(part_ids: Collection[int]) -> Pairs:
    """(old, new) of these parts."""
    return Replacement.objects.filter(old_id__in=part_ids).values_list("old_id", "new_id")


def contents(part_ids: Collection[int]) -> Pairs:
    """(kit, part in it) of these kits."""
    return KitPart.objects.filter(kit_id__in=part_ids).values_list("kit_id", "part_id")


def hold(start: Collection[int], onward: Callable[[Collection[int]], Pairs]) -> tuple[dict[int, Part], Steps]:
    """Lock `start` and all parts they lead to, by primary key, until no more come to light: whoever would lengthen one of
    these ways waits. Answers the parts and the ways. Raises NotFound when one of `start` isn't there."""
    held: dict[int, Part] = {}
    while True:
        seen, steps = reached(start, onward)
        if seen <= set(held):
            return held, steps
        rows = Part.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=seen).order_by("pk")
        held |= {p.pk: p for p in rows}
        if missing := set(start) - set(held):
            raise NotFound(f"There is no part with the id {min(missing)}.")


def reached(start: Collection[int], onward: Callable[[Collection[int]], Pairs]) -> tuple[set[int], Steps]:
    """All that `start` leads to, with the ways; without any lock."""
    seen: set[int] = set(start)
    steps: Steps = {}
    wave = set(start)
    while wave:
        found = set()
        for here, there in onward(wave):
            steps.setdefault(here, []).append(there)
            found.add(there)
        wave = found - seen
        seen |= found
    return seen, steps
