"""VIN, GTIN, GS1, IBAN and VAT numbers against published values."""

from __future__ import annotations

from datetime import date

import pytest

from shop.kernel.errors import BadInput
from shop.kernel.gs1 import parse, read_date
from shop.kernel.identity import (
    Verdict,
    check_gtin,
    check_iban,
    check_vat,
    check_vin,
    gtin_check_digit,
    vin_check_digit,
)

TODAY = date(2026, 3, 1)


# 49 CFR 565.15(c), tables III and IV
@pytest.mark.parametrize(
    ("vin", "digit"),
    [
        ("1M8GDM9AXKP042788", "X"),  # widely printed worked example: sum 351
        ("1G4AH59H?5G118341", "4"),  # 49 CFR 565 table V sample (older edition): sum 411
        ("11111111111111111", "1"),  # computed by the same rule: sum 89
    ],
)
def test_vin_check_digit(vin, digit):
    assert vin_check_digit(vin) == digit
    assert check_vin(vin[:8] + digit + vin[9:]).ok


@pytest.mark.parametrize(
    "vin",
    [
        "1M8GDM9A1KP042788",
        "1M8GDM9AXKP04278I",
        "1M8GDM9AXKP04278O",
        "1M8GDM9AXKP04278Q",
        "1M8GDM9AXKP04278",
        "1M8GDM9AXKP0427888",
    ],
)
def test_vin_that_does_not_check_is_told_but_kept(vin):
    checked = check_vin(vin)
    assert checked.verdict is Verdict.BAD
    assert checked.number == vin
    assert "kept" in checked.reason


# GS1 General Specifications 7.9 (section from memory); computed with python-stdnum 2.2
@pytest.mark.parametrize("gtin", ["4006381333931", "9780201379624", "5901234123457", "09521234543213"])
def test_gtin(gtin):
    assert gtin_check_digit(gtin[:-1]) == gtin[-1]
    assert check_gtin(gtin).ok
    wrong = gtin[:-1] + str((int(gtin[-1]) + 1) % 10)
    assert check_gtin(wrong).verdict is Verdict.BAD


def test_gs1_string_with_and_without_brackets():
    # computed with python-stdnum 2.2
    for text in ("(01)09521234543213(17)260731(10)ABC123", "01095212345432131726073110ABC123"):
        read = parse(text, TODAY)
        assert (read.gtin, read.expires_on, read.batch) == ("09521234543213", date(2026, 7, 31), "ABC123")


def test_gs1_string_with_fnc1():
    # documentation of an open-source GS1 parser
    read = parse("010506091751001110628S93R\x1d17241000218898847482518646", TODAY)
    assert dict(read.values) == {
        "01": "05060917510011",
        "10": "628S93R",
        "17": date(2024, 10, 31),
        "21": "8898847482518646",
    }


@pytest.mark.parametrize(
    ("yymmdd", "today", "day"),
    [
        ("260700", TODAY, date(2026, 7, 31)),
        # GS1 Denmark: the end of August 1999 is entered as 990800
        ("990800", date(1999, 1, 1), date(1999, 8, 31)),
        ("240200", TODAY, date(2024, 2, 29)),
        # century, GS1 General Specifications 7.12 (from memory): 51 to 99 ahead is the previous, 50 to 99
        # behind the next one
        ("760101", TODAY, date(2076, 1, 1)),
        ("770101", TODAY, date(1977, 1, 1)),
        ("990800", TODAY, date(1999, 8, 31)),
        ("490101", date(2098, 1, 1), date(2049, 1, 1)),
        ("480101", date(2098, 1, 1), date(2148, 1, 1)),
    ],
)
def test_gs1_date(yymmdd, today, day):
    assert read_date(yymmdd, today) == day


def test_gs1_month_13_is_refused():
    # python-stdnum raises a plain ValueError here
    with pytest.raises(BadInput) as refused:
        parse("(17)261301", TODAY)
    assert refused.value.code == "bad-gs1"


# ISO 13616 registry samples (from memory; check digits computed), GR: python-stdnum documentation
@pytest.mark.parametrize(
    "number",
    [
        "GB82WEST12345698765432",
        "DE89370400440532013000",
        "FR1420041010050500013M02606",
        "CH9300762011623852957",
        "NL91ABNA0417164300",
        "GR1601101050000010547023795",
        "BE31435411161155",
    ],
)
def test_iban(number):
    assert check_iban(number).ok
    spaced = " ".join(number[i : i + 4] for i in range(0, len(number), 4)).lower()
    assert check_iban(spaced).number == number
    assert check_iban(spaced).ok


def test_iban_with_a_wrong_digit():
    checked = check_iban("GB82WEST12345698765433")
    assert checked.verdict is Verdict.BAD
    assert "check digits" in checked.reason


# python-stdnum documentation: form and checksum only
GOOD_VAT = [
    "DE136695976",
    "BE0428759497",
    "FR40303265045",
    "NL004495445B01",
    "SE123456789701",
    "GB980780684",
    "ATU13585627",
    "PL8567346215",
    "IT00743110157",
]
BAD_VAT = ["DE136695978", "BE0431150351", "FR84323140391", "NL123456789B90", "SE123456789101", "GB802311781"]


@pytest.mark.parametrize("number", GOOD_VAT)
def test_vat_number(number):
    checked = check_vat(number)
    assert checked.ok
    assert "not whether the number is registered" in checked.reason
    assert check_vat(number[2:], number[:2]).ok


@pytest.mark.parametrize("number", BAD_VAT)
def test_wrong_vat_number(number):
    checked = check_vat(number)
    assert checked.verdict is Verdict.BAD
    assert "checksum" in checked.reason
