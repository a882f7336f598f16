from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone, translation

from shop.ui import formats
from shop.ui.forms import DecimalField

NBSP = "\u00a0"


@pytest.mark.parametrize(
    ("value", "currency", "shown"),
    [
        (Decimal("1234.5"), "EUR", "€1,234.50"),
        (Decimal("-12"), "EUR", "−€12.00"),
        (Decimal("12000"), "JPY", "JP¥12,000"),
        (Decimal("1.2345"), "EUR", "€1.2345"),  # a unit price finer than the coin keeps its digits
        (Decimal("1.5"), "KWD", f"KWD{NBSP}1.500"),
        (Decimal("0"), "", "0.00"),
        (None, "EUR", "–"),
        (SimpleNamespace(amount=Decimal("7"), currency="EUR"), "", "€7.00"),
    ],
)
def test_money_is_shown_in_the_decimals_of_its_currency(value, currency, shown):
    assert formats.money(value, currency) == shown


def test_money_follows_the_language():
    with translation.override("de"):
        assert formats.money(Decimal("1234.5"), "EUR") == f"1.234,50{NBSP}€"
        assert formats.hours(Decimal("2.25")) == f"2,25{NBSP}h"


@pytest.mark.parametrize("wrong", [0.1, "abc", Decimal("NaN"), Decimal("Infinity")])
def test_a_float_or_no_number_is_refused(wrong):
    with pytest.raises(TypeError):
        formats.money(wrong, "EUR")


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (Decimal("12.000"), "MLT", f"12{NBSP}ml"),
        (Decimal("0.0500"), "LTR", f"0.05{NBSP}l"),
        (Decimal("1250"), "", "1,250"),
        (Decimal("1E+3"), "GRM", f"1,000{NBSP}g"),
        (Decimal("-3"), "XYZ", f"−3{NBSP}XYZ"),
        (None, "MLT", "–"),
    ],
)
def test_quantity_drops_zeros_and_names_its_unit(value, unit, shown):
    assert formats.qty(value, unit) == shown


def test_hours_take_decimals_and_intervals():
    assert formats.hours(timedelta(hours=2, minutes=15)) == f"2.25{NBSP}h"
    assert formats.hours(timedelta(minutes=20)) == f"0.33{NBSP}h"
    assert formats.clocked(timedelta(hours=11, minutes=7, seconds=59)) == "11:07"


def test_times_are_shown_in_the_shops_zone():
    with timezone.override("Europe/Brussels"):
        assert formats.when(datetime(2026, 11, 3, 23, 30, tzinfo=UTC)) == f"Wed 4{NBSP}Nov 2026, 00:30"
        assert formats.day(datetime(2026, 11, 3, 23, 30, tzinfo=UTC)) == f"Wed 4{NBSP}Nov 2026"
    assert formats.when(date(2026, 11, 3)) == f"Tue 3{NBSP}Nov 2026"
    assert formats.when(None) == "–"


@pytest.mark.parametrize(("days", "words"), [(0, "today"), (1, "tomorrow"), (5, "in 5 days"), (-3, "3 days ago")])
def test_a_date_against_today(days, words):
    today = date(2026, 11, 3)
    assert formats.days_from_now(today + timedelta(days=days), today) == words


@pytest.mark.parametrize(
    ("language", "typed", "value"),
    [
        ("en", "1,234.50", "1234.50"),
        ("en", "1 250", "1250"),
        ("en", "0,5", "0.5"),  # the phone's number keys offer one sign only
        ("en", "−3", "-3"),
        ("de", "1.234,50", "1234.50"),
        ("de", "12.5", "12.5"),
    ],
)
def test_numbers_are_read_as_typed(language, typed, value):
    with translation.override(language):
        assert DecimalField().clean(typed) == Decimal(value)


@pytest.mark.parametrize("typed", ["1,234", "twelve", "1.2.3", "NaN", "Infinity", "1e5", "9" * 60])
def test_what_can_be_read_two_ways_or_not_at_all_is_refused_in_words(typed):
    with translation.override("en"), pytest.raises(ValidationError) as refusal:
        DecimalField().clean(typed)
    assert len(refusal.value.messages) == 1
    assert refusal.value.messages[0].endswith(".")


@pytest.mark.parametrize(
    ("limits", "typed", "says"),
    [
        ({"min_value": 0}, "-2", "Give 0 or more."),
        ({"max_value": 100}, "150", "Give 100 or less."),
        ({"max_digits": 5, "decimal_places": 2}, "1.234", "This is too fine: 2 decimals at most."),
        (
            {"max_digits": 5, "decimal_places": 2},
            "12345",
            "This number is too big: 3 digits before the decimal sign at most.",
        ),
    ],
)
def test_a_number_outside_its_limits_is_refused_in_our_words(limits, typed, says):
    with translation.override("en"), pytest.raises(ValidationError) as refusal:
        DecimalField(**limits).clean(typed)
    assert refusal.value.messages == [says]


def test_an_empty_number_is_empty_not_nought():
    assert DecimalField(required=False).clean(" ") is None
    with pytest.raises(ValidationError):
        DecimalField().clean("")


def test_the_end_of_a_stretch_of_time_names_its_day_only_when_it_is_another():
    start = datetime(2026, 11, 23, 8, tzinfo=UTC)
    assert formats.until(start + timedelta(minutes=44), start) == "08:44"
    assert formats.until(start + timedelta(days=1), start) == f"Tue 24{NBSP}Nov 2026, 08:00"
    assert formats.until(None, start) == "–"
