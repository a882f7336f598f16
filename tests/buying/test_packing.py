from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.buying import leadtime, packing
from inventory.buying.packing import Step
from shop.kernel.errors import BadInput


@pytest.mark.parametrize(
    ("content", "unit", "part_unit", "holds"),
    [
        ("50", "C62", "C62", "50"),
        ("70", "MLT", "MLT", "70"),
        ("0.07", "LTR", "MLT", "70"),
        ("12", "INH", "MTR", "0.3048"),
    ],
)
def test_a_package_is_converted_exactly(content, unit, part_unit, holds):
    assert packing.per_package(D(content), unit, part_unit) == D(holds)


@pytest.mark.parametrize(
    ("content", "unit", "part_unit", "field"),
    [
        ("1", "FOT", "YRD", "content_unit"),  # a third: no finite decimal
        ("1", "LTR", "C62", "content_unit"),
        ("2.5", "C62", "C62", "content"),
        ("0", "C62", "C62", "content"),
        ("NaN", "C62", "C62", "content"),
    ],
)
def test_what_does_not_come_out_is_refused_at_its_box(content, unit, part_unit, field):
    with pytest.raises(BadInput) as refused:
        packing.per_package(D(content), unit, part_unit)
    assert field in refused.value.fields


def test_the_last_break_reached_gives_the_price():
    steps = packing.steps([Step(D(10), D("3.90")), Step(D(1), D("4.20"))])
    assert [packing.price_of(steps, D(n)) for n in (1, 9, 10, 500)] == [D("4.20"), D("4.20"), D("3.90"), D("3.90")]
    assert packing.price_of([Step(D(5), D(2))], D(1)) == D(2)
    assert packing.price_of([], D(1)) is None


@pytest.mark.parametrize(
    "steps", [[("1", "4"), ("1", "3")], [("0", "4")], [("1.5", "4")], [("1", "-1")], [("1", "1e9")]]
)
def test_price_breaks_that_cannot_be(steps):
    with pytest.raises(BadInput) as refused:
        packing.steps(Step(D(a), D(b)) for a, b in steps)
    assert "prices" in refused.value.fields


def test_whole_packages_cover_what_is_wanted():
    assert packing.packages_for(D(120), D(50)) == 3
    assert packing.packages_for(D(100), D(50)) == 2
    assert packing.packages_for(D(1), D(50), D(4)) == 4


def test_a_line_is_rounded_once():
    assert packing.net(D("70"), D("10.00"), D("50"), "EUR") == D("14.00")
    assert packing.net(D("3"), D("0.335"), D("1"), "EUR") == D("1.01")  # 1.005, half away from zero


def test_the_last_dozen_deliveries_tell_the_lead_time():
    assert leadtime.observed([]) is None
    one = leadtime.observed([4])
    assert (one.usual, one.careful, one.deliveries) == (4, 4, 1)
    found = leadtime.observed([3, 3, 4, 9, 3, 3, 3, 5, 3, 4, *[90] * 5])
    assert (found.deliveries, found.usual, found.longest) == (12, 3, 90)
    ten = leadtime.observed(range(1, 11))
    assert (ten.usual, ten.careful, ten.longest) == (5, 9, 10)
    assert "usually 5 days, 10 at worst" in ten.words
