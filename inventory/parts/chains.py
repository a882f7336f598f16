"""Ways through parts that lead to each other: from old to new, from a kit to what is in it. Plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


def way(source: int, target: int, steps: Mapping[int, Iterable[int]]) -> list[int]:
    """The keys of a shortest way from `source` to `target`, both named; empty when there is none."""
    came_from: dict[int, int | None] = {source: None}
    wave = [source]
    while wave and target not in came_from:
        reached: dict[int, int | None] = {}
        for here in wave:
            for there in steps.get(here, ()):
                if there not in came_from:
                    reached.setdefault(there, here)
        came_from |= reached
        wave = list(reached)
    if target not in came_from:
        return []
    found: list[int] = []
    here_: int | None = target
    while here_ is not None:
        found.append(here_)
        here_ = came_from[here_]
    return found[::-1]
