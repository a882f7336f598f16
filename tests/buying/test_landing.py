from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.buying.landing import landed, unit_cost
from shop.kernel.errors import BadInput

cents = st.integers(0, 10**9).map(lambda n: D(n) / 100)


def test_freight_and_duty_go_by_value_to_the_cent():
    lines = landed([D("100.00"), D("50.00"), D("25.00")], D("10.00"), D("3.50"), "EUR", rate=D(1), into="EUR")
    assert [x.freight for x in lines] == [D("5.71"), D("2.86"), D("1.43")]  # 5.714.., 2.857.., 1.428..
    assert [x.duty for x in lines] == [D("2.00"), D("1.00"), D("0.50")]
    assert [x.value for x in lines] == [D("107.71"), D("53.86"), D("26.93")]


def test_the_cents_left_over_go_to_the_largest_remainders():
    lines = landed([D("1.00")] * 3, D("0.02"), D(0), "EUR", rate=D(1), into="EUR")
    assert [x.freight for x in lines] == [D("0.01"), D("0.01"), D("0.00")]


def test_lines_that_are_free_share_alike():
    lines = landed([D(0), D(0)], D("5.00"), D(0), "EUR", rate=D(1), into="EUR")
    assert [x.value for x in lines] == [D("2.50"), D("2.50")]
    assert landed([D(0)], D(0), D(0), "EUR", rate=D(1), into="EUR")[0].value == 0
    assert landed([], D(0), D(0), "EUR", rate=D(1), into="EUR") == []


def test_another_currency_is_converted_once():
    lines = landed([D("10.00"), D("10.00"), D("10.00")], D("1.00"), D(0), "GBP", rate=D("1.1587"), into="EUR")
    assert sum(x.value for x in lines) == D("35.92")  # 31.00 x 1.1587 = 35.9197
    assert [x.freight for x in lines] == [D("0.34"), D("0.33"), D("0.33")]


def test_yen_have_no_cents():
    lines = landed([D(100), D(200)], D(10), D(0), "JPY", rate=D(1), into="JPY")
    assert [x.freight for x in lines] == [D(3), D(7)]
    with pytest.raises(BadInput):
        landed([D(100)], D("0.50"), D(0), "JPY", rate=D(1), into="JPY")


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(cents, min_size=1, max_size=30), cents, cents)
def test_the_shares_add_up_to_what_was_paid(nets, freight, duty):
    lines = landed(nets, freight, duty, "EUR", rate=D(1), into="EUR")
    assert sum(x.freight for x in lines) == freight
    assert sum(x.duty for x in lines) == duty
    assert [x.value for x in lines] == [n + x.freight + x.duty for n, x in zip(nets, lines, strict=True)]
    total = sum(nets) or D(len(nets))
    for net, x in zip(nets, lines, strict=True):
        weight = net if any(nets) else D(1)
        assert abs(x.freight - freight * weight / total) < D("0.01")


def test_a_unit_costs_its_share_of_the_value():
    assert unit_cost(D("10.00"), D(3)) == D("3.333333")
    assert unit_cost(D("15.71"), D(70)) == D("0.224429")
