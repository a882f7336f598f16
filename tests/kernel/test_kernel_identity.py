from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.identity import (
    Verdict,
    check_gtin,
    check_iban,
    check_vat,
    check_vin,
    clean_vat,
    gtin_check_digit,
    vin_check_digit,
)


@given(st.text(max_size=100))
def test_no_text_breaks_a_check(text):
    for check in (check_vin, check_gtin, check_iban, check_vat, lambda t: check_vat("123", t)):
        assert check(text).reason


@given(st.from_regex(r"\A[A-Z]{2}[0-9A-Z]{0,14}\Z"))
def test_no_vat_number_breaks_a_country_rule(text):
    assert check_vat(text).verdict in Verdict


@given(st.text("0123456789", min_size=13, max_size=13), st.integers(0, 12), st.integers(1, 9))
def test_one_misread_digit_of_a_gtin_is_found(body, place, off):
    gtin = body + gtin_check_digit(body)
    assert check_gtin(gtin).ok
    wrong = gtin[:place] + str((int(gtin[place]) + off) % 10) + gtin[place + 1 :]
    assert not check_gtin(wrong).ok


@pytest.mark.parametrize("text", ["", "123", "400638133393", "ABCDEFGH", "١٢٣٤٥٦٧٨"])
def test_no_gtin(text):
    assert check_gtin(text).verdict is Verdict.BAD


def test_vin_hints():
    assert check_vin("1m8-gdm9a xkp042788").number == "1M8GDM9AXKP042788"
    assert "9th character would be X, not 1" in check_vin("1M8GDM9A1KP042788").reason
    assert "I, O and Q are not used" in check_vin("1M8GDM9AXKPO42788").reason
    assert "has 16" in check_vin("1M8GDM9AXKP04278").reason
    for wrong in ("", "1" * 16, "I" * 17):
        with pytest.raises(ValueError, match="VIN"):
            vin_check_digit(wrong)


def test_iban_reasons():
    assert "has 22 characters, this has 21" in check_iban("DE8937040044053201300").reason
    assert "country" in check_iban("XX00").reason
    assert "form" in check_iban("DE0537040044053201300A").reason
    assert check_iban("").verdict is Verdict.BAD


def test_vat_country():
    assert check_vat("EL094259216").ok
    assert check_vat("XI980780684").ok
    assert check_vat("980780684", "GB").ok
    assert check_vat("094259216", "GR").ok
    assert check_vat("EL094259216", "GR").ok
    assert check_vat("CHE-107.787.577 IVA").ok
    assert check_vat("CHE-107.787.577 IVA", "CH").ok
    assert check_vat("de 136-695-976").number == clean_vat("DE 136.695.976") == "DE136695976"
    assert "country" in check_vat("136695976").reason
    assert check_vat("").verdict is Verdict.BAD


@pytest.mark.parametrize(("number", "country"), [("ZZ123", ""), ("US123456", ""), ("123456", "AQ"), ("1", "d1")])
def test_a_country_without_a_rule_is_unknown_not_bad(number, country):
    checked = check_vat(number, country)
    assert checked.verdict is Verdict.UNKNOWN
    assert not checked.ok


def test_vat_reasons():
    assert "length" in check_vat("DE1366959").reason
    assert "checksum" in check_vat("DE136695978").reason
    assert "form" in check_vat("DE13669597A").reason
