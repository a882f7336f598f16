"""Rounding and minor units against published or independently computed values."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from shop.kernel.money import Money, format_money
from shop.kernel.rounding import minor_units, round_money, round_to
from shop.kernel.totals import Line, Vat, compute, vat_on


@pytest.mark.parametrize(
    ("value", "places", "half_up"),
    # half up as in python's decimal ROUND_HALF_UP (computed); half even would give 2, 4, -2, 0.12, 0.14
    [("2.5", 0, "3"), ("3.5", 0, "4"), ("-2.5", 0, "-3"), ("0.125", 2, "0.13"), ("0.135", 2, "0.14")],
)
def test_ties_go_away_from_zero(value, places, half_up):
    assert str(round_to(D(value), places)) == half_up


def test_a_tie_that_float_loses():
    # EN 16931 guide example 2: 1460.50 x 25 % = 365.125; float's round() gives 365.12
    assert round(365.125, 2) == 365.12
    assert round_money(D("365.125"), "NOK") == D("365.13")


# ISO 4217, list of 2026-01-01
ISO_4217 = {
    2: "EUR USD GBP CHF SEK HUF MGA MRU NOK CZK DKK",
    0: "JPY KRW ISK CLP VND UGX RWF PYG XOF",
    3: "KWD BHD OMR JOD TND LYD IQD",
    4: "UYW CLF",
}


@pytest.mark.parametrize(
    ("currency", "units"), [(code, units) for units, codes in ISO_4217.items() for code in codes.split()]
)
def test_minor_units(currency, units):
    assert minor_units(currency) == units
    assert str(round_money(D(1), currency)) == ("1." + "0" * units if units else "1")


@pytest.mark.parametrize(("currency", "shown"), [("IQD", "1.235"), ("MGA", "1.23"), ("HUF", "1.23"), ("CHF", "1.23")])
def test_display_follows_iso_4217_where_cldr_differs(currency, shown):
    # CLDR (Babel 2.18) has IQD and MGA without decimals and rounds cash for CHF and HUF
    text = format_money(Money(D("1.2345"), currency), "en-GB")
    assert text.removeprefix(currency).strip() == shown


def test_tax_on_the_sum_differs_from_tax_per_line():
    # own example: 20 % on 0.33 x 3, 1.99, 4.17. Per line 1.44, on the sum 7.15 it is 1.43
    prices = ["0.33", "0.33", "0.33", "1.99", "4.17"]
    assert sum(vat_on(D(p), D(20), "GBP") for p in prices) == D("1.44")
    ours = compute([Line(D(1), D(p), Vat("S", D(20))) for p in prices], "GBP")
    assert (ours.net, ours.vat) == (D("7.15"), D("1.43"))
