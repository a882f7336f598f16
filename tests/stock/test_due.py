"""What is due to be counted, and what is looked at twice."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.stock.due import DAYS, MOVES, Counted, classes, due, needs_second_look

TODAY = date(2026, 6, 1)


def place(part: int, days: int, moves: int = 0, bin_: int = 1) -> Counted:
    return Counted(part, bin_, TODAY - timedelta(days=days), moves)


def test_classes_by_the_value_used():
    """Our own example: 800 of 1,000 is 80 %, so the first is A and the next begins B; 950 is reached with the second."""
    assert classes({1: D(800), 2: D(150), 3: D(50), 4: D(0)}) == {1: "A", 2: "B", 3: "C", 4: "C"}
    assert classes({1: D(500), 2: D(500)}) == {1: "A", 2: "A"}
    assert classes({1: D(0)}) == {1: "C"}
    assert classes({}) == {}


def test_the_dear_are_counted_often_and_the_cheap_seldom():
    used = {1: D(800), 2: D(150), 3: D(50)}
    places = [place(1, 89), place(2, 179), place(3, 364)]
    assert due(places, used, TODAY, most=10) == []
    found = due([place(1, 90), place(2, 180), place(3, 365)], used, TODAY, most=10)
    assert [(d.place.part_id, d.value_class, d.urgency) for d in found] == [(1, "A", 1), (2, "B", 1), (3, "C", 1)]


def test_many_movements_make_it_due_and_the_most_urgent_comes_first():
    used = {1: D(800), 2: D(150)}
    found = due([place(1, 10, 20), place(2, 400), place(2, 0, 39, bin_=2)], used, TODAY, most=10)
    assert [d.place.part_id for d in found] == [2, 1]
    assert found[1].why == "class A, last counted 2026-05-22, 20 movements since"
    assert [d.place.part_id for d in due([place(1, 10, 20), place(2, 400)], used, TODAY, most=1)] == [2]


def test_a_count_in_the_future_is_not_due():
    assert due([place(1, -5)], {}, TODAY, most=5) == []


PLACES = st.lists(st.builds(place, st.integers(1, 9), st.integers(0, 900), st.integers(0, 200), st.integers(1, 4)))


@settings(deadline=None, suppress_health_check=list(HealthCheck))
@given(PLACES, st.dictionaries(st.integers(1, 9), st.integers(0, 10**6).map(D)), st.integers(1, 30))
def test_what_is_picked_is_due_and_nothing_more_urgent_is_left_out(places, used, most):
    of = classes(used)
    found = due(places, used, TODAY, most=most)
    urgency = [
        max(D((TODAY - p.last).days) / DAYS[c], D(p.moves) / MOVES[c]) for p in places if (c := of.get(p.part_id, "C"))
    ]
    assert len(found) == min(most, sum(u >= 1 for u in urgency))
    assert [d.urgency for d in found] == sorted((u for u in urgency if u >= 1), reverse=True)[:most]


@pytest.mark.parametrize(
    ("counted", "expected", "cost", "again"),
    [
        ("10", "10", "100", False), ("9", "10", "1", True), ("91", "100", "1", False), ("90", "100", "1", True),
        ("95", "100", "5", True), ("96", "100", "5", False), ("1", "0", "0.01", True), ("0", "0", "1", False),
    ],
)  # fmt: skip
def test_beyond_the_limits_it_is_looked_at_twice(counted, expected, cost, again):
    found = needs_second_look(D(counted), D(expected), D(cost), limit_value=D(25), limit_percent=D(10))
    assert found is again
