from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.quantity import (
    LIMIT,
    MAX_DECIMALS,
    Quantity,
    check,
    format_quantity,
    parse_quantity,
    positive,
)
from shop.kernel.units import UNITS, Dimension, convert, convert_exact, unit, units_of

CODES = st.sampled_from(sorted(UNITS))


def ml(text):
    return Quantity(D(text), "MLT")


def test_arithmetic_in_one_unit():
    assert ml("12.5") + ml("0.250") == ml("12.75")
    assert ml("1") - ml("3") == -ml("2")
    assert ml("1") < ml("2") <= ml("2.0") < ml("3") > ml("2") >= ml("2")
    assert ml("0.001")
    assert not ml("0")
    assert str(ml("12.500")) == "12.5 ml"
    assert str(Quantity(D("2"), "C62")) == "2 pc"


def test_two_units_never_mix():
    litre = Quantity(D(1), "LTR")
    for mix in (
        lambda: ml("1") + litre,
        lambda: ml("1") - litre,
        lambda: ml("1") < litre,
        lambda: ml("1") >= litre,
    ):
        with pytest.raises(BadInput) as refused:
            mix()
        assert refused.value.code == "mixed-units"
    assert ml("1000") != litre
    assert litre.to("MLT") == ml("1000")


@pytest.mark.parametrize(
    ("amount", "code", "error"),
    [
        ("0.5", "C62", "too-many-decimals"),
        ("1.5", "SET", "too-many-decimals"),
        ("0.0001", "MLT", "too-many-decimals"),
        ("1000000000", "MLT", "too-large"),
        ("-1E+300", "MLT", "too-large"),
        ("NaN", "MLT", "not-a-number"),
        ("1", "XYZ", "unknown-unit"),
        ("1", "mlt", "unknown-unit"),
    ],
)
def test_refused(amount, code, error):
    with pytest.raises(BadInput) as refused:
        Quantity(D(amount), code)
    assert refused.value.code == error


def test_trailing_zeros_are_no_decimals():
    assert Quantity(D("2.000"), "C62") == Quantity(D(2), "C62")


def test_half_a_piece_is_told_plainly():
    with pytest.raises(BadInput, match=r"whole numbers only, 0\.5 is not one"):
        check(D("0.5"), "C62")


@pytest.mark.parametrize("amount", ["0", "-1", "NaN", "-Infinity", "-0"])
def test_what_can_be_drawn_is_above_zero(amount):
    with pytest.raises(BadInput) as refused:
        positive(D(amount), "C62", field="drawn")
    assert refused.value.code == "not-positive"
    assert list(refused.value.fields) == ["drawn"]
    assert positive(D("1"), "C62") == 1


def test_reads_quantities():
    assert parse_quantity("12,5 ml", "MLT", decimal_comma=True) == ml("12.5")
    assert parse_quantity("0", "MLT", decimal_comma=False, zero=True) == ml("0")
    assert parse_quantity("-2", "C62", decimal_comma=False, negative=True) == Quantity(D(-2), "C62")
    for text in ("0", "-1", "0.5", "x", "1 l"):
        with pytest.raises(BadInput) as refused:
            parse_quantity(text, "C62", decimal_comma=False, field="count")
        assert list(refused.value.fields) == ["count"]


def test_shown_by_locale():
    assert format_quantity(ml("1234.500"), "en-GB") == "1,234.5\u00a0ml"
    assert format_quantity(ml("1234.500"), "de-DE") == "1.234,5\u00a0ml"
    assert format_quantity(ml("0.125"), "en-GB") == "0.125\u00a0ml"


def test_every_unit_fits_the_stored_precision():
    assert all(u.decimals <= MAX_DECIMALS for u in UNITS.values())
    most = LIMIT - D(1).scaleb(-MAX_DECIMALS)
    assert D(repr(float(most))) == most


def test_millilitres_always_fit_litres_and_grams_kilograms():
    # a tin bought by the litre is drawn by the millilitre: nothing may be lost on the way
    for small, large in (("MLT", "LTR"), ("GRM", "KGM"), ("MMT", "MTR")):
        if small == "MMT":
            continue
        finest = D(1).scaleb(-unit(small).decimals)
        assert check(convert(finest, small, large), large)


def test_conversion_never_loses_unseen():
    assert convert(D("2.5"), "LTR", "MLT") == 2500
    assert convert(D(6), "PR", "DZN") == 1
    assert convert(D(1), "OZA", "MLT") == D("29.5735295625")
    with pytest.raises(BadInput) as refused:
        convert(D(1), "FOT", "YRD")
    assert refused.value.code == "inexact"
    assert convert(D(1), "FOT", "YRD", places=3) == D("0.333")
    assert convert(D(2), "FOT", "YRD", places=3) == D("0.667")
    # a quantity must also fit the target unit
    with pytest.raises(BadInput):
        Quantity(D(1), "OZA").to("MLT")
    assert Quantity(D(1), "OZA").to("MLT", places=3) == ml("29.574")


def test_dimensions_never_cross():
    for a, b in (("MLT", "GRM"), ("HUR", "C62"), ("SET", "C62"), ("NU", "MTR"), ("LS", "C62")):
        with pytest.raises(BadInput) as refused:
            convert(D(1), a, b)
        assert refused.value.code == "other-dimension"


def _prime_factors(number):
    factor = 2
    while factor * factor <= number:
        if number % factor:
            factor += 1
        else:
            number //= factor
            yield factor
    if number > 1:
        yield number


@given(st.decimals(min_value=-(10**8), max_value=10**8, places=6), CODES, st.data())
def test_there_and_back(amount, code, data):
    other = data.draw(st.sampled_from([u.code for u in units_of(unit(code).dimension)]))
    there = convert_exact(amount, code, other)
    assert convert_exact(there, other, code) == Fraction(amount)
    finite = set(_prime_factors(there.denominator)) <= {2, 5}
    if finite:
        exact = convert(amount, code, other)
        assert Fraction(exact) == there
        assert convert(exact, other, code) == amount
    else:
        with pytest.raises(BadInput, match="no round number"):
            convert(amount, code, other)


def test_codes_and_symbols_are_unique():
    assert len({u.symbol for u in UNITS.values()}) == len(UNITS)
    assert {u.dimension for u in UNITS.values()} == set(Dimension)
    assert all(u.factor > 0 for u in UNITS.values())
