"""Who sold what, and how values lie. Pure."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reports.shares import NOBODY, Spread, at_or_below, shares, spread
from shop.ui.drawing import HEAD, HEIGHT, WIDTH, columns


def test_a_line_is_shared_by_what_each_booked():
    assert shares(D("3.5"), {1: 3600, 2: 10800}) == {1: D("0.875"), 2: D("2.625")}
    assert shares(D("-3.5"), {1: 3600, 2: 10800}) == {1: D("-0.875"), 2: D("-2.625")}
    assert shares(D(1), {3: 1, 2: 1, 1: 1}) == {1: D("0.333334"), 2: D("0.333333"), 3: D("0.333333")}
    assert shares(D(2), {}) == {NOBODY: D(2)}
    assert shares(D(2), {1: 0}) == {NOBODY: D(2)}
    assert shares(D(0), {1: 5}) == {}


@given(
    st.decimals(min_value=-9999, max_value=9999, places=6),
    st.dictionaries(st.integers(1, 50), st.integers(0, 10**7), max_size=12),
)
def test_shares_add_up_to_the_line_and_none_is_a_step_off(quantity, booked):
    found = shares(quantity, booked)
    assert sum(found.values()) == quantity
    whole = sum(booked.values())
    if whole:
        for person, share in found.items():
            assert abs(share - quantity * booked[person] / whole) < D("0.000001")


def test_the_spread_of_five_and_of_one():
    assert spread([D(90), D(100), D(110), D(80), D(130)]) == Spread(D(80), D(90), D(100), D(110), D(130))
    assert spread([D(90), D(100)]) == Spread(D(90), D("92.5"), D(95), D("97.5"), D(100))
    assert spread([D(7)]) == Spread(D(7), D(7), D(7), D(7), D(7))
    assert spread([]) is None


def test_what_came_to_exactly_what_was_said_is_not_over_it():
    assert at_or_below([(D(9), D(10)), (D(10), D(10)), (D("10.01"), D(10))]) == 2


@pytest.mark.parametrize("values", [[], [("a", ())], [("a", (D(0),))], [("a", (None,))]])
def test_nothing_is_drawn_without_an_error(values):
    assert all(b.height == 0 for b in columns(values).bars)


def test_bars_stand_on_the_line_or_hang_from_it():
    found = columns([("one", (D(30), None)), ("two", (D(-10), D(10)))])
    up, down, small = found.bars
    assert up.y == HEAD
    assert up.y + up.height == down.y == small.y + small.height == found.nought
    assert up.height == 3 * small.height
    assert small.height == down.height
    assert down.y + down.height <= HEIGHT
    assert max(b.x + b.width for b in found.bars) <= WIDTH
    assert len(columns([(str(n), (D(n),)) for n in range(36)]).words) == 12
