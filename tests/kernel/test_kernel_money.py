from __future__ import annotations

import pickle
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.money import Money, format_money, limit, parse_money, split, total

CENTS = st.integers(-(10**12), 10**12).map(lambda n: Money(D(n) / 100, "EUR"))


def eur(text):
    return Money(D(text), "EUR")


def test_arithmetic():
    assert eur("1.10") + eur("2.25") == eur("3.35")
    assert eur("1.10") - eur("2.25") == eur("-1.15")
    assert eur("0.10") * 3 == 3 * eur("0.10") == eur("0.30")
    assert eur("10") * D("0.19") == eur("1.90")
    assert (eur("10") / 3).rounded() == eur("3.33")
    assert -eur("1") == eur("-1")
    assert abs(eur("-1")) == eur("1")
    assert eur("1") < eur("2") <= eur("2.00") < eur("3") > eur("2") >= eur("2.0")
    assert bool(eur("0.01"))
    assert not eur("0.00")
    assert hash(eur("1.0")) == hash(eur("1.00"))
    assert sum([eur("1"), eur("2")]) == eur("3")
    assert total([], "JPY") == Money(D(0), "JPY")
    assert str(total([], "EUR")) == "0.00 EUR"
    assert pickle.loads(pickle.dumps(eur("1.5"))) == eur("1.5")  # noqa: S301


def test_two_currencies_never_mix():
    dollar = Money(D(1), "USD")
    for mix in (
        lambda: eur("1") + dollar,
        lambda: eur("1") - dollar,
        lambda: eur("1") < dollar,
        lambda: eur("1") >= dollar,
        lambda: total([eur("1"), dollar], "EUR"),
    ):
        with pytest.raises(BadInput) as refused:
            mix()
        assert refused.value.code == "mixed-currencies"
    assert eur("1") != dollar


def test_floats_and_other_types_are_errors_of_the_programmer():
    for wrong in (
        lambda: Money(1.5, "EUR"),
        lambda: eur("1") * 1.5,
        lambda: eur("1") + 1,
        lambda: 1 + eur("1"),
    ):
        with pytest.raises(TypeError):
            wrong()
    with pytest.raises(TypeError):
        eur("1") * eur("1")


def test_division_by_zero_is_refused():
    with pytest.raises(BadInput):
        eur("1") / 0


@pytest.mark.parametrize(
    ("amount", "currency", "code"),
    [
        ("1000000000000", "EUR", "too-large"),
        ("-1000000000000", "EUR", "too-large"),
        ("100000000000", "CLF", "too-large"),
        ("1E+400", "EUR", "too-large"),
        ("NaN", "EUR", "not-a-number"),
        ("Infinity", "EUR", "not-a-number"),
        ("1", "EURO", "unknown-currency"),
    ],
)
def test_refused(amount, currency, code):
    with pytest.raises(BadInput) as refused:
        Money(D(amount), currency)
    assert refused.value.code == code


def test_the_limit_holds_for_results_too():
    most = eur("999999999999.99")
    with pytest.raises(BadInput):
        most + eur("0.01")
    with pytest.raises(BadInput):
        most * 2


@pytest.mark.parametrize("currency", ["EUR", "JPY", "KWD", "CLF"])
def test_every_amount_below_the_limit_survives_a_database_that_keeps_floats(currency):
    unit = Money.zero(currency).amount.as_tuple().exponent
    most = limit(currency) - D(1).scaleb(unit)
    assert D(repr(float(most))) == most


@pytest.mark.parametrize(
    ("text", "currency", "comma", "amount"),
    [
        ("1.234,56", "EUR", True, "1234.56"),
        ("1,234.56", "EUR", False, "1234.56"),
        ("EUR 5", "EUR", False, "5.00"),
        ("5.5 EUR", "EUR", False, "5.50"),
        ("1.500", "KWD", False, "1.500"),
        ("5.0", "JPY", False, "5"),
        ("-3", "EUR", False, "-3.00"),
    ],
)
def test_reads_amounts(text, currency, comma, amount):
    assert str(parse_money(text, currency, decimal_comma=comma)) == f"{amount} {currency}"


@pytest.mark.parametrize(
    ("text", "currency", "code"),
    [
        ("1.005", "EUR", "too-many-decimals"),
        ("1.5", "JPY", "too-many-decimals"),
        ("USD 5", "EUR", "not-a-number"),
        ("EUR 5 EUR", "EUR", "not-a-number"),
        ("€5", "EUR", "not-a-number"),
        ("5000000000000", "EUR", "too-large"),
        ("1,234", "EUR", "ambiguous-number"),
    ],
)
def test_amounts_refused(text, currency, code):
    with pytest.raises(BadInput) as refused:
        parse_money(text, currency, decimal_comma=False, field="deposit")
    assert refused.value.code == code
    assert list(refused.value.fields) == ["deposit"]


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "text"),
    [
        ("1234.5", "EUR", "en-GB", "€1,234.50"),
        ("1234.5", "EUR", "de-DE", "1.234,50 €"),
        ("1234.5", "EUR", "fr_FR", "1 234,50 €"),
        ("-1234.555", "EUR", "de-DE", "-1.234,56 €"),
        ("1234", "JPY", "en-GB", "JP¥1,234"),
        ("0.125", "EUR", "en-GB", "€0.13"),
    ],
)
def test_shown_by_locale(amount, currency, locale, text):
    shown = format_money(Money(D(amount), currency), locale)
    assert shown.replace("\u00a0", " ").replace("\u202f", " ") == text


def test_unit_prices_keep_their_decimals():
    assert format_money(eur("0.00880"), "en-GB", all_decimals=True) == "€0.0088"
    assert format_money(eur("12"), "en-GB", all_decimals=True) == "€12.00"
    with pytest.raises(BadInput):
        format_money(eur("1"), "klingon")


@given(st.lists(CENTS, max_size=20))
def test_sums_are_exact(amounts):
    assert total(amounts, "EUR").amount * 100 == sum(int(a.amount * 100) for a in amounts)


@given(CENTS, st.lists(st.integers(0, 1000), min_size=1, max_size=8).filter(any))
def test_shares_add_up_and_are_fair(money, weights):
    if abs(money.amount) >= 10**9:
        money = Money(money.amount.scaleb(-3).quantize(D("0.01")), "EUR")
    shares = split(money, weights)
    assert total(shares, "EUR") == money
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share.amount - money.amount * weight / sum(weights)) < D("0.01")
    assert split(-money, weights) == [-s for s in shares]


def test_shares():
    assert split(eur("0.05"), [1, 1, 1]) == [eur("0.02"), eur("0.02"), eur("0.01")]
    for wrong in (
        lambda: split(eur("1.005"), [1]),
        lambda: split(eur("1"), [0, 0]),
        lambda: split(eur("1"), [2, -1]),
    ):
        with pytest.raises(BadInput):
            wrong()
