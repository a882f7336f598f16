"""Figures and dates as the shop reads them: plain values in, text out. No request, no database.

Numbers follow the active language through Babel (CLDR). A missing value is an en dash, never "None".
Binary floats are refused with TypeError: an amount that passed through a float is already wrong.
"""

import re
from datetime import date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from functools import cache, lru_cache
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_time
from babel.numbers import format_decimal, get_decimal_symbol
from django.utils import timezone
from django.utils.translation import get_language, gettext, ngettext

from shop.kernel.clock import today as clock_today
from shop.kernel.money import Money, format_money
from shop.kernel.units import UNITS

NONE = "–"
NBSP = "\u00a0"


def locale() -> Locale:
    """Babel locale of the active language. Bare "en" reads as British: day before month."""
    return _locale(get_language() or "en")


@cache
def _locale(language: str) -> Locale:
    code = language.replace("-", "_")
    try:
        return Locale.parse("en_GB" if code == "en" else code)
    except (UnknownLocaleError, ValueError):
        return Locale.parse("en_GB")


def decimal_sign() -> str:
    """Decimal sign of the active language, as figures are shown and typed."""
    return get_decimal_symbol(locale())


def exact(value: object) -> Decimal:
    """A finite Decimal from a Decimal, int or numeric text; TypeError for a float or no number."""
    if isinstance(value, float):
        raise TypeError("a float is no amount: pass a Decimal")
    try:
        number = Decimal(str(value))
    except InvalidOperation:
        raise TypeError(f"{value!r} is no number") from None
    if not number.is_finite():
        raise TypeError(f"{value!r} is no finite number")
    return number


def _blank(value: object) -> bool:
    return value is None or value == ""


def money(value: Any, currency: str = "") -> str:
    """Amount with its currency ("€1,234.50"), with the currency's own decimals; more are kept if given.

    `value`: Decimal, int or numeric text, or any object with `.amount` and `.currency`.
    """
    if _blank(value):
        return NONE
    if hasattr(value, "amount"):
        value, currency = value.amount, currency or str(value.currency)
    amount = exact(value)
    if not currency:
        return format_decimal(amount, "#,##0.00###", locale=locale()).replace("-", "−")
    # A unit price may be finer than the coin: show every digit rather than a rounded lie.
    return _money(str(amount), currency, str(locale()))


@lru_cache(4096)
def _money(amount: str, currency: str, language: str) -> str:
    """Lists say the same amounts again and again. By text, since Decimals that differ in their zeros are equal."""
    text = format_money(Money(Decimal(amount), currency), language, all_decimals=True)
    return re.sub(r"([A-Z]{3})(?=\d)", rf"\1{NBSP}", text).replace("-", "−")


def number(value: object) -> str:
    """A plain number with grouping, trailing zeros as given ("1,250", "0.050")."""
    if _blank(value):
        return NONE
    n = exact(value)
    exponent = n.as_tuple().exponent
    places = max(0, -exponent) if isinstance(exponent, int) else 0
    pattern = "#,##0" + ("." + "0" * places if places else "")
    return format_decimal(n, pattern, locale=locale(), decimal_quantization=False).replace("-", "−")


def unit_sign(code: str) -> str:
    """Symbol of a Recommendation 20 code ("MLT": "ml"); any other text stands for itself."""
    return UNITS[code].symbol if code in UNITS else code


def qty(value: Any, unit: str = "") -> str:
    """Quantity with its unit sign, superfluous zeros cut ("12 ml"). `unit`: Rec 20 code or any sign.

    `value` may be any object with `.amount` and `.unit`.
    """
    if _blank(value):
        return NONE
    if hasattr(value, "unit") and not isinstance(value, Decimal):
        unit = unit or str(value.unit)
        value = value.amount
    n = exact(value)
    n = n.quantize(Decimal(1)) if n == n.to_integral_value() and abs(n) < Decimal(10) ** 20 else n.normalize()
    sign = unit_sign(unit)
    return number(n) + (NBSP + sign if sign else "")


def hours(value: object) -> str:
    """Working time in hours with two decimals ("2.25 h"), from Decimal hours or a timedelta."""
    if _blank(value):
        return NONE
    n = Decimal(round(value.total_seconds())) / 3600 if isinstance(value, timedelta) else exact(value)
    return format_decimal(n, "#,##0.00", locale=locale()).replace("-", "−") + NBSP + "h"


def clocked(value: timedelta | None) -> str:
    """A running time as a clock reads it: "0:07", "11:30" (hours:minutes)."""
    if value is None:
        return NONE
    minutes = int(value.total_seconds()) // 60
    return f"{minutes // 60}:{minutes % 60:02d}"


def day(value: date | datetime | None) -> str:
    """Date with weekday: "Tue 3 Nov 2026". An aware time is taken in the current time zone."""
    if value is None or value == "":
        return NONE
    if isinstance(value, datetime):
        value = timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    return _day(value, locale())


@lru_cache(maxsize=2048)
def _day(value: date, loc: Locale) -> str:
    pattern = f"EEE d{NBSP}MMM y" if loc.language == "en" else f"EEE d.{NBSP}MMM y"
    return format_date(value, pattern, locale=loc)


def when(value: datetime | date | None) -> str:
    """Date and time in the current time zone: "Tue 3 Nov 2026, 14:05". A plain date: as `day`."""
    if value is None or value == "":
        return NONE
    if not isinstance(value, datetime):
        return day(value)
    if timezone.is_aware(value):
        value = timezone.localtime(value)
    return f"{day(value)}, {format_time(value.time(), 'HH:mm', locale=locale())}"


def until(end: datetime | None, start: datetime) -> str:
    """The end of a stretch of time: the time alone on the day it began, else as `when`."""
    if end is None:
        return NONE
    if timezone.is_aware(end):
        end, start = timezone.localtime(end), timezone.localtime(start)
    return format_time(end.time(), "HH:mm", locale=locale()) if end.date() == start.date() else when(end)


def days_from_now(value: date | None, today: date | None = None) -> str:
    """A date against today in words: "today", "in 3 days", "2 days ago"."""
    if value is None:
        return NONE
    gap = (value - (today or clock_today())).days
    if gap == 0:
        return gettext("today")
    if gap == 1:
        return gettext("tomorrow")
    if gap == -1:
        return gettext("yesterday")
    if gap > 0:
        return ngettext("in %d day", "in %d days", gap) % gap
    return ngettext("%d day ago", "%d days ago", -gap) % -gap


def filesize(value: int) -> str:
    """Bytes in kB or MB (powers of ten, as SI has it)."""
    n = Decimal(value)
    if n < 1_000_000:
        return number((n / 1000).quantize(Decimal(1) if n >= 10_000 else Decimal("0.1"))) + NBSP + "kB"
    return number((n / 1_000_000).quantize(Decimal("0.1"))) + NBSP + "MB"
