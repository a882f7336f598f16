from __future__ import annotations

import contextlib
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.decimals import as_decimal, decimals_of, known_locale, parse_decimal, plain
from shop.kernel.errors import BadInput


@pytest.mark.parametrize(
    ("text", "comma", "value"),
    [
        ("1234.56", False, "1234.56"),
        ("1,234.56", False, "1234.56"),
        ("1.234,56", True, "1234.56"),
        ("1234,56", True, "1234.56"),
        (" 12 ", False, "12"),
        ("1 234,5", True, "1234.5"),
        ("1\u00a0234\u202f567", True, "1234567"),
        ("1'234.50", False, "1234.50"),
        ("1’234.50", False, "1234.50"),
        ("1,234,567", False, "1234567"),
        ("1.234.567", True, "1234567"),
        ("−5", False, "-5"),
        ("+5.0", False, "5.0"),
        (".5", False, "0.5"),
        (",5", True, "0.5"),
        ("-,5", True, "-0.5"),
        ("007", False, "7"),
    ],
)
def test_reads_what_people_type(text, comma, value):
    assert str(parse_decimal(text, decimal_comma=comma)) == value


@pytest.mark.parametrize(
    ("text", "comma", "code"),
    [
        ("1,234", False, "ambiguous-number"),
        ("1.234", True, "ambiguous-number"),
        ("-1,234", False, "ambiguous-number"),
        ("12,5", False, "other-decimal-sign"),
        ("12.50", True, "other-decimal-sign"),
        ("1234,567", False, "other-decimal-sign"),
        ("1.234,56", False, "not-a-number"),
        ("1,234.56", True, "not-a-number"),
        ("1,23,456", False, "not-a-number"),
        ("1 234,567.5", False, "not-a-number"),
        ("1,,234.5", False, "not-a-number"),
        ("", False, "not-a-number"),
        ("-", False, "not-a-number"),
        (".", False, "not-a-number"),
        ("5.", False, "not-a-number"),
        ("--5", False, "not-a-number"),
        ("1e5", False, "not-a-number"),
        ("NaN", False, "not-a-number"),
        ("Infinity", False, "not-a-number"),
        ("1_000", False, "not-a-number"),
        ("١٢", False, "not-a-number"),
        ("１２", False, "not-a-number"),
        ("²", False, "not-a-number"),
        ("(5)", False, "not-a-number"),
        ("9" * 41, False, "not-a-number"),
    ],
)
def test_refuses_what_could_mean_something_else(text, comma, code):
    with pytest.raises(BadInput) as refused:
        parse_decimal(text, decimal_comma=comma, field="price")
    assert refused.value.code == code
    assert list(refused.value.fields) == ["price"]


def test_the_message_says_what_to_write():
    with pytest.raises(BadInput, match=r"Write 1234 or 1\.234\."):
        parse_decimal("1,234", decimal_comma=False)
    with pytest.raises(BadInput, match=r"decimal sign is “,”. Write 12,50\."):
        parse_decimal("12.50", decimal_comma=True)


@given(st.decimals(min_value=-(10**12), max_value=10**12, places=4), st.booleans(), st.booleans())
def test_reads_back_what_is_written(number, comma, grouped):
    text = f"{number:,.4f}" if grouped else f"{number:.4f}"
    if comma:
        text = text.translate(str.maketrans(",.", ".,"))
    assert parse_decimal(text, decimal_comma=comma) == number


@given(st.text(max_size=60), st.booleans())
def test_any_text_is_read_or_refused(text, comma):
    with contextlib.suppress(BadInput):
        assert parse_decimal(text, decimal_comma=comma).is_finite()


@pytest.mark.parametrize("value", [1.5, True, None, b"1", [1]])
def test_floats_and_strangers_are_a_programming_error(value):
    with pytest.raises(TypeError):
        as_decimal(value)


@pytest.mark.parametrize(
    "value", ["1,5", "1e3", "", "NaN", " ", "0x1", "1_0", "٣", D("NaN"), D("Infinity"), D("-sNaN")]
)
def test_as_decimal_refuses(value):
    with pytest.raises(BadInput):
        as_decimal(value)


def test_as_decimal_takes_decimals_ints_and_plain_text():
    assert [str(as_decimal(v)) for v in (D("1.50"), 3, "-2.5", " 7 ")] == ["1.50", "3", "-2.5", "7"]


@pytest.mark.parametrize(
    ("number", "places", "text"),
    [
        ("1.50", 1, "1.5"),
        ("100", 0, "100"),
        ("1E+3", 0, "1000"),
        ("-0.00", 0, "0"),
        ("0.000001", 6, "0.000001"),
    ],
)
def test_decimals_and_plain_text(number, places, text):
    assert decimals_of(D(number)) == places
    assert plain(D(number)) == text


def test_locales():
    assert str(known_locale("de-DE")) == "de_DE"
    for name in ("xx-YY", "", "../etc", "de-DE-DE-DE"):
        with pytest.raises(BadInput):
            known_locale(name)
