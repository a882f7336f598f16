"""Which machine belongs to which: no circle, and no deeper than a person can follow. Plain ids."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from shop.kernel.errors import field_error

DEEPEST: Final = 5  # a vessel, its generator set, the engine, its pump, the pump's drive


def check_parent(parents: Mapping[int, int | None], child: int, parent: int) -> None:
    """Raise BadInput if `child` can't belong to `parent`. `parents` maps each machine to the one it belongs to."""
    if parent == child:
        raise field_error("parent_id", "A machine can't belong to itself.")
    above = _above(parents, parent)
    if child in above:
        raise field_error("parent_id", "That machine already belongs to this one. Take it out there first.")
    depth = len(above) + 1 + _height(parents, child)
    if depth > DEEPEST:
        raise field_error("parent_id", f"Machines stand at most {DEEPEST} deep in each other; this would make {depth}.")


def below(parents: Mapping[int, int | None], top: int) -> set[int]:
    """All machines that belong to `top`, directly or not."""
    found: set[int] = set()
    layer = {top}
    while layer:
        layer = {m for m, p in parents.items() if p in layer} - found
        found |= layer
    return found


def _above(parents: Mapping[int, int | None], start: int) -> list[int]:
    """`start` and what it belongs to, upwards."""
    chain: list[int] = []
    step: int | None = start
    while step is not None and step not in chain:
        chain.append(step)
        step = parents.get(step)
    return chain


def _height(parents: Mapping[int, int | None], top: int) -> int:
    """Levels below `top`."""
    height, layer = 0, {top}
    while layer := {m for m, p in parents.items() if p in layer}:
        height += 1
    return height
