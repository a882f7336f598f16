"""Numbers and dates as a document prints them, by document language. The one place where an amount becomes
text.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from babel import Locale
from babel.dates import format_date, format_datetime
from babel.numbers import parse_pattern
from django.utils import timezone

from shop.kernel.rounding import minor_units, round_money

STRINGS = Path(__file__).parent / "strings"


class UnknownLanguage(ValueError):
    """No strings file for this document language; the message lists those there are."""


@cache
def languages() -> tuple[str, ...]:
    """Document languages: one strings file each."""
    return tuple(sorted(p.stem for p in STRINGS.glob("*.json")))


@cache
def strings(language: str) -> dict[str, Any]:
    """Every word a document prints that is not the shop's own data. Raises `UnknownLanguage`."""
    if language not in languages():
        raise UnknownLanguage(f"No document language {language!r}; there are: {', '.join(languages())}.")
    loaded: dict[str, Any] = json.loads((STRINGS / f"{language}.json").read_text("utf-8"))
    return loaded


class Formatter:
    """Formats for one language and one currency (ISO 4217 code).

    Amounts come rounded; printing them rounds by the kernel's one rule, which then changes nothing. Raises
    UnknownLanguage, or BadInput for an unknown currency.
    """

    def __init__(self, language: str, currency: str):
        self.strings = strings(language)
        self.locale = Locale.parse(self.strings["locale"])
        self.currency = currency
        self.minor = minor_units(currency)
        self._patterns: dict[int, Any] = {}

    def _number(self, value: Decimal, places: int) -> str:
        pattern = self._patterns.get(places)
        if pattern is None:
            pattern = self._patterns[places] = parse_pattern("#,##0" + ("." + "0" * places if places else ""))
        if not value:
            value = abs(value)
        return pattern.apply(value, self.locale).replace("-", "\u2212")

    def money(self, value: Decimal) -> str:
        """Digits of an amount, without its currency: the column or the label says it."""
        return self._number(round_money(value, self.currency), self.minor)

    def price(self, value: Decimal) -> str:
        """A unit price with all its decimals, at least the currency's."""
        return self._number(value, max(self.minor, _places(value)))

    def quantity(self, value: Decimal) -> str:
        """A quantity without trailing zeros."""
        return self._number(value, _places(value))

    def percent(self, value: Decimal) -> str:
        """A rate in percent without the sign."""
        return self._number(value, _places(value))

    def day(self, value: date) -> str:
        return format_date(value, self.strings["day_format"], locale=self.locale)

    def short_day(self, value: date) -> str:
        return format_date(value, self.strings["short_day_format"], locale=self.locale)

    def moment(self, value: datetime) -> str:
        """An aware moment, as the shop's clock shows it."""
        there = timezone.localtime(value)
        return format_datetime(there, self.strings["moment_format"], tzinfo=there.tzinfo, locale=self.locale)


def _places(value: Decimal) -> int:
    exponent = value.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0
