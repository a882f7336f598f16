"""The order of stages: which can come when, and the longest chain of hours through them. Plain values.

The longest path through an acyclic graph is found in one pass over a topological order (Kahn, 1962).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from shop.kernel.errors import field_error


@dataclass(frozen=True, slots=True)
class Step:
    """A stage: `hours` of work, after the stages whose keys are in `after`."""

    key: int
    name: str
    hours: Decimal
    after: frozenset[int] = frozenset()


def in_order(steps: Sequence[Step], *, field: str = "after") -> list[Step]:
    """All steps so that each comes after those it waits for; otherwise in the order given.

    Raises BadInput about `field` naming the stages of a circle, or a stage that waits for one that is not there.
    """
    by_key = {s.key: s for s in steps}
    for step in steps:
        if missing := step.after - by_key.keys():
            raise field_error(field, f"“{step.name}” waits for a stage that is not in this plan: {sorted(missing)[0]}.")
    done: set[int] = set()
    ordered: list[Step] = []
    waiting = list(steps)
    while waiting:
        ready = next((s for s in waiting if s.after <= done), None)
        if ready is None:
            raise field_error(field, _circle(waiting), code="circle")
        waiting.remove(ready)
        done.add(ready.key)
        ordered.append(ready)
    return ordered


def critical_path(steps: Sequence[Step]) -> tuple[Decimal, list[Step]]:
    """Hours of the longest chain, and its steps: the soonest the work can be done with hands enough.

    Of two equally long chains the one given first. No steps: 0 hours. Raises BadInput for a circle.
    """
    ends: dict[int, Decimal] = {}
    comes_from: dict[int, int | None] = {}
    by_key = {s.key: s for s in steps}
    for step in in_order(steps):
        before = [s.key for s in steps if s.key in step.after]
        latest = max(before, key=lambda k: ends[k], default=None)
        ends[step.key] = step.hours + (ends[latest] if latest is not None else 0)
        comes_from[step.key] = latest
    if not ends:
        return Decimal(0), []
    last: int | None = max((s.key for s in steps), key=lambda k: ends[k])
    hours = ends[last]  # type: ignore[index]
    chain: list[Step] = []
    while last is not None:
        chain.append(by_key[last])
        last = comes_from[last]
    return hours, chain[::-1]


def _circle(waiting: Sequence[Step]) -> str:
    """In words: walk backwards through what waits until a stage comes again."""
    by_key = {s.key: s for s in waiting}
    walked: list[int] = []
    at = waiting[0].key
    while at not in walked:
        walked.append(at)
        at = min(by_key[at].after & by_key.keys())
    names = [f"“{by_key[k].name}”" for k in reversed(walked[walked.index(at) :])]
    if len(names) == 1:
        return f"{names[0]} would wait for itself. Take that out."
    return f"{', '.join([*names, names[0]])} would wait for each other in a circle. Take one of them out."
