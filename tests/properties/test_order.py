"""The order of stages against a plain search of every chain."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from jobs.plans.order import Step, critical_path, in_order
from shop.kernel.errors import BadInput

quarters = st.integers(0, 40).map(lambda n: Decimal(n) / 4)


@st.composite
def forward(draw):
    """Stages that wait only for stages made before them: no circle; then shuffled."""
    hours = draw(st.lists(quarters, max_size=9))
    steps = []
    for key, h in enumerate(hours):
        after = draw(st.sets(st.integers(0, key - 1))) if key else set()
        steps.append(Step(key, f"S{key}", h, frozenset(after)))
    return draw(st.permutations(steps))


@st.composite
def anyhow(draw):
    count = draw(st.integers(1, 7))
    keys = st.integers(0, count - 1)
    return [Step(k, f"S{k}", Decimal(1), frozenset(draw(st.sets(keys, max_size=3)))) for k in range(count)]


def longest_by_search(steps):
    by_key = {s.key: s for s in steps}

    def ending_at(key):
        step = by_key[key]
        return step.hours + max((ending_at(k) for k in step.after), default=Decimal(0))

    return max((ending_at(k) for k in by_key), default=Decimal(0))


@given(forward())
def test_in_order_and_longest_chain(steps):
    ordered = in_order(steps)
    assert sorted(s.key for s in ordered) == sorted(s.key for s in steps)
    place = {s.key: n for n, s in enumerate(ordered)}
    assert all(place[k] < place[s.key] for s in steps for k in s.after)
    hours, chain = critical_path(steps)
    assert hours == longest_by_search(steps) == sum((s.hours for s in chain), Decimal(0))
    assert all(earlier.key in later.after for earlier, later in pairwise(chain))


def has_circle(steps):
    after = {s.key: s.after for s in steps}

    def reaches(start):
        seen, todo = set(), list(after[start])
        while todo:
            key = todo.pop()
            if key == start:
                return True
            if key not in seen:
                seen.add(key)
                todo += after[key]
        return False

    return any(reaches(k) for k in after)


@given(anyhow())
def test_a_circle_is_found_exactly_when_there_is_one(steps):
    try:
        in_order(steps)
        found = False
    except BadInput:
        found = True
    assert found == has_circle(steps)
