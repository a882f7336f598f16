from __future__ import annotations

import decimal
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.rounding import MINOR_UNITS, minor_unit, minor_units, round_money, round_to, round_to_step

AMOUNTS = st.decimals(min_value=-(10**11), max_value=10**11, places=6)


@pytest.mark.parametrize("code", ["XAU", "XTS", "XXX", "eur", "EURO", "", "DEM", None, 978])
def test_only_money_in_use(code):
    for function in (minor_units, minor_unit, lambda c: round_money(D(1), c)):
        with pytest.raises(BadInput) as refused:
            function(code)
        assert refused.value.code == "unknown-currency"


@given(AMOUNTS, st.sampled_from(sorted(MINOR_UNITS)))
def test_nearest_minor_unit_and_mirrored(amount, currency):
    rounded = round_money(amount, currency)
    unit = minor_unit(currency)
    assert rounded % unit == 0
    assert abs(rounded - amount) <= unit / 2
    if abs(rounded - amount) == unit / 2:
        assert abs(rounded) > abs(amount)
    assert round_money(-amount, currency) == -rounded
    assert round_money(rounded, currency) == rounded
    assert -rounded.as_tuple().exponent == minor_units(currency)


def test_never_minus_zero():
    assert str(round_money(D("-0.004"), "EUR")) == "0.00"
    assert str(round_to(D("-0.4"), 0)) == "0"


def test_the_surrounding_context_has_no_say():
    with decimal.localcontext() as context:
        context.prec = 3
        context.rounding = decimal.ROUND_DOWN
        assert round_money(D("123456.785"), "EUR") == D("123456.79")


@pytest.mark.parametrize("amount", ["NaN", "Infinity", "-Infinity", "1E+70"])
def test_not_finite_or_absurd(amount):
    with pytest.raises(BadInput):
        round_money(D(amount), "EUR")


@pytest.mark.parametrize(
    ("amount", "step", "nearest"),
    [
        ("12.32", "0.05", "12.30"),
        ("12.325", "0.05", "12.35"),
        ("-12.325", "0.05", "-12.35"),
        ("7.50", "1", "8"),
    ],
)
def test_cash_steps(amount, step, nearest):
    assert round_to_step(D(amount), D(step)) == D(nearest)


@pytest.mark.parametrize("step", ["0", "-0.05", "NaN", "Infinity"])
def test_a_step_is_above_zero(step):
    with pytest.raises(BadInput):
        round_to_step(D(1), D(step))
