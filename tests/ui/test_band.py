from decimal import Decimal as D

import pytest

from shop.ui.band import lay_out


def test_the_tick_lies_where_the_reading_lies_between_the_limits():
    band = lay_out(D("78.0125"), D("78.00"), D("78.05"))
    assert band.low < band.tick < band.high
    assert (band.tick - band.low) * 4 == band.high - band.low


def test_a_reading_off_the_drawing_is_marked_and_kept_inside():
    over = lay_out(D("79"), D("78.00"), D("78.05"))
    under = lay_out(D("70"), D("78.00"), D("78.05"))
    assert (over.beyond, under.beyond) == (1, -1)
    assert over.tick <= 320
    assert under.tick >= 0


def test_one_limit_leaves_the_other_side_open():
    most = lay_out(D("0.18"), None, D("0.25"))
    assert most.low is None
    assert most.tick < most.high
    assert most.band_from < 0
    least = lay_out(D("21.5"), D("24"), None)
    assert least.tick < least.low
    assert least.band_to > 320


def test_limits_that_meet_and_no_reading():
    band = lay_out(None, D("5"), D("5"))
    assert band.tick is None
    assert band.low == band.high


def test_uncertainty_is_drawn_as_wide_as_it_is():
    band = lay_out(D("78.025"), D("78.00"), D("78.05"), D("0.005"))
    assert (band.whisker_to - band.whisker_from) * 5 == band.high - band.low


@pytest.mark.parametrize(("low", "high"), [(None, None), (D(2), D(1))])
def test_impossible_limits_are_refused(low, high):
    with pytest.raises(ValueError):
        lay_out(D(1), low, high)
