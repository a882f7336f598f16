from __future__ import annotations

import unicodedata
from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.text import clean_line, clean_text, csv_safe, is_blank

OVERRIDES = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def test_one_line():
    assert clean_line("  Head\tgasket \r\n 0.8 mm\u00a0 ") == "Head gasket 0.8 mm"
    assert clean_line("GKT-\u202e140\u202c\x00\x1b[0m") == "GKT-140[0m"
    assert clean_line("Cafe\u0301") == "Caf\u00e9"
    assert clean_line("\ufeffבלוק מנוע 12") == "בלוק מנוע 12"
    assert clean_line("a\ud800b\ufffe") == "ab"


def test_many_lines():
    assert clean_text("\n\nknocks when cold  \r\n\tsmokes\r\rafter a while\u2028blue\n \n") == (
        "knocks when cold\n\tsmokes\n\nafter a while\nblue"
    )
    assert clean_text("a\x07b\u202e") == "ab"


@pytest.mark.parametrize(
    "blank", ["", "   ", "\n\t\n", "\u200b\u200d", "\u00a0", "\u202e", "\u2060\u200e", "\x00", "\u0301"]
)
def test_blank(blank):
    assert is_blank(blank)
    assert clean_line(blank) == clean_text(blank) == ""
    for clean in (clean_line, clean_text):
        with pytest.raises(BadInput) as refused:
            clean(blank, field="complaint", required=True)
        assert refused.value.code == "blank"
        assert list(refused.value.fields) == ["complaint"]


def test_length_counts_what_is_kept():
    assert clean_line("x" * 10 + " " * 500, max_length=10) == "x" * 10
    for text in ("x" * 11, "x" * 100_000):
        with pytest.raises(BadInput, match="at most 10 fit") as refused:
            clean_line(text, max_length=10)
        assert refused.value.code == "too-long"


@given(st.text(max_size=300))
def test_what_is_kept_is_harmless_and_stays_as_it_is(text):
    line, many = clean_line(text, max_length=2000), clean_text(text)
    for kept in (line, many):
        assert not set(kept) & set(OVERRIDES)
        assert not any(unicodedata.category(c) in ("Cc", "Cs") for c in kept if c not in "\n\t")
        assert unicodedata.is_normalized("NFC", kept)
        kept.encode()
    assert "\n" not in line
    assert "\t" not in line
    assert clean_line(line, max_length=2000) == line
    assert clean_text(many) == many


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+49 123", "'+49 123"),
        ("-2+3", "'-2+3"),
        ("-", "'-"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("\n=1", "'\n=1"),
        ("＝1", "'＝1"),
        ("-1.5e3", "'-1.5e3"),
        ("-12.50", "-12.50"),
        ("-1,234.50", "-1,234.50"),
        ("-7", "-7"),
        ("GKT-041", "GKT-041"),
        ("a=b", "a=b"),
        ("", ""),
        (None, ""),
        (D("-12.50"), "-12.50"),
        (D("1E+3"), "1000"),
        (-3, "-3"),
        (date(2026, 3, 1), "2026-03-01"),
    ],
)
def test_no_cell_runs_as_a_formula(value, cell):
    assert csv_safe(value) == cell


@given(st.text(max_size=30))
def test_a_cell_never_starts_like_a_formula(text):
    cell = csv_safe(text)
    assert not cell.startswith(("=", "+", "@", "\t", "\r", "\n"))
    if cell.startswith("-"):
        float(cell.replace(",", "").replace(".", "") or "x")
