from __future__ import annotations

import contextlib
from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.gs1 import looks_like_gs1, parse, read_date

TODAY = date(2026, 3, 1)
GTIN = "0109521234543213"


@pytest.mark.parametrize("prefix", ["", "]C1", "]d2", "]Q3", "]e0", "\x1d", "]C1\x1d"])
def test_prefixes(prefix):
    read = parse(prefix + GTIN + "17260731" + "10ABC-1\r\n", TODAY)
    assert (read.gtin, read.expires_on, read.batch) == ("09521234543213", date(2026, 7, 31), "ABC-1")


def test_plain_ean_from_the_scanner():
    assert parse("]E04006381333931", TODAY).gtin == "04006381333931"


def test_measures_counts_and_dates():
    read = parse(f"{GTIN}3103001250" + "11260115" + "15261200" + "3724\x1d" + "21S-9\x1d" + "3005", TODAY)
    assert read.net_kilograms == D("1.250")
    assert read.made_on == date(2026, 1, 15)
    assert read.best_before == date(2026, 12, 31)
    assert (read.count, read.values["30"], read.serial) == (24, 5, "S-9")
    assert parse("3152000125", TODAY).values == {"3152": D("1.25")}
    assert parse("(30)7", TODAY).count == 7
    empty = parse("3152000125", TODAY)
    assert (empty.gtin, empty.batch, empty.expires_on, empty.count, empty.net_kilograms) == (None,) * 5


def test_visible_group_separator_and_brackets():
    assert parse("10AB␝17260731", TODAY).batch == "AB"
    assert parse("(10)A(B)C (21)7", TODAY).values == {"10": "A(B)C", "21": "7"}


def test_values_cannot_be_changed():
    with pytest.raises(TypeError):
        parse(GTIN, TODAY).values["01"] = "x"


@pytest.mark.parametrize(
    ("scan", "says"),
    [
        ("", "Nothing"),
        ("]C1", "Nothing"),
        ("]C0ABC", "not a GS1 code"),
        ("0109521234543214", "check digit"),
        ("01095212345", "11 characters|9 characters"),
        ("17261301", "not a date"),
        ("17260230", "not a date"),
        ("1726073", "5 characters instead of 6"),
        ("17ABCDEF", "must be digits"),
        ("10" + "X" * 21, "longer than 20.*separator"),
        ("10", "has 0 characters"),
        ("10\x1d17260731", "has 0 characters"),
        ("10A B", "character that GS1"),
        ("10Ä", "character that GS1"),
        ("ZZ12", "not the start"),
        ("9", "not the start"),
        ("(1)23", "not the start|not a GS1"),
        ("(9999)1", "not"),
        ("10A\x1d10B", "twice"),
        ("]E0123", "check digit|digits"),
        ("1" * 401, "too long"),
        ("²1²1", "not the start"),
    ],
)
def test_refused_with_the_reason(scan, says):
    with pytest.raises(BadInput, match=says) as refused:
        parse(scan, TODAY)
    assert refused.value.code == "bad-gs1"


def test_same_value_twice_is_no_harm():
    assert parse("10A\x1d10A", TODAY).batch == "A"


@given(st.text(max_size=80) | st.text("0123456789()\x1d]CdQ", max_size=80))
def test_any_scan_is_read_or_refused(scan):
    with contextlib.suppress(BadInput):
        assert parse(scan, TODAY).values


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)), st.integers(-49, 50))
def test_a_year_between_49_past_and_50_ahead_is_found_again(today, ahead):
    day = date(today.year + ahead, 6, 15)
    assert read_date(day.strftime("%y%m%d"), today) == day


def test_tells_gs1_from_other_codes():
    assert all(looks_like_gs1(s) for s in ("]C110A", "]E04006381333931", "\x1d10A", "10A\x1d21B", "(01)1"))
    assert not any(looks_like_gs1(s) for s in ("GKT-041", "4006381333931", "", "(part)"))
