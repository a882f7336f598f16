"""What the counter types about customers and machines, cleaned and checked. Plain values in and out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from stdnum.eu.vat import MEMBER_STATES

from shop.kernel.countries import check_country
from shop.kernel.errors import BadInput, field_error
from shop.kernel.findings import Findings
from shop.kernel.identity import Checked, Verdict, check_vat, clean_vat
from shop.kernel.text import clean_line

LANGUAGES: Final = {"en": "English", "de": "German"}
USAGE_UNITS: Final = {"HUR": "h", "KMT": "km", "SMI": "miles"}
OLDEST_YEAR: Final = 1850
HIGHEST_USAGE: Final = Decimal(9_999_999)
HIGHEST_LIMIT: Final = Decimal(9_999_999)
NOTE_LENGTH: Final = 4000

_CUSTOMER_LINES: Final = {
    "name": 160, "contact": 120, "phone": 40, "street": 160, "postcode": 20, "city": 80, "customer_class": 40,
}  # fmt: skip
_MACHINE_LINES: Final = {"kind": 40, "maker": 80, "model": 80, "serial_no": 60}


def check_customer(values: Mapping[str, Any], *, country: str = "") -> dict[str, Any]:
    """The values of a customer, cleaned. `country` is the stored one, for a VAT number that comes without country.

    Raises BadInput naming every wrong field.
    """
    clean, found = dict(values), Findings()
    found.lines(clean, _CUSTOMER_LINES, "name")
    found.texts(clean, {"note": NOTE_LENGTH})
    found.choice(clean, "kind", frozenset({"person", "firm"}))
    found.choice(clean, "language", LANGUAGES)
    if "email" in clean:
        try:
            clean["email"] = clean_line(clean["email"], field="email", max_length=254)
            if clean["email"]:
                validate_email(clean["email"])
        except BadInput as error:
            found.note(error)
        except ValidationError:
            found.add("email", "This is no e-mail address. Write it like name@place.example.")
    if "country" in clean:
        try:
            clean["country"] = country = check_country(clean["country"])
        except BadInput as error:
            found.note(error)
            country = ""
    if clean.get("vat_no"):
        checked = _vat(clean["vat_no"], country)
        clean["vat_no"] = _with_prefix(checked.number, country) if checked.ok else checked.number
        if checked.verdict is Verdict.BAD:
            found.add("vat_no", checked.reason)
        elif len(checked.number) > 20:
            found.add("vat_no", "A VAT number has at most 20 characters.")
    days = clean.get("payment_days")
    if days is not None and not 0 <= days <= 365:
        found.add("payment_days", "Give 0 to 365 days, or leave it empty for the shop's own.")
    otherwise = "Give an amount from 0 to 9,999,999 with at most 4 decimals, or leave it empty."
    found.amount(clean, "extra_work_limit", HIGHEST_LIMIT, 4, otherwise)
    found.raise_any()
    return clean


def _vat(text: str, country: str) -> Checked:
    """By the customer's country first; a firm may also have the number of another country, with its prefix."""
    number = clean_vat(text)
    checked = check_vat(number, country)
    if country and checked.verdict is not Verdict.GOOD and number[:2].isalpha():
        other = check_vat(number)
        if other.ok:
            return other
    return checked


def _with_prefix(number: str, country: str) -> str:
    """A number of an EU country with its prefix, as invoices must show it."""
    prefix = "EL" if country == "GR" else country
    has_one = number[:2].isalpha()
    return number if has_one or prefix.lower() not in MEMBER_STATES | {"el"} else prefix + number


def check_machine(values: Mapping[str, Any], *, this_year: int) -> dict[str, Any]:
    """The values of a machine, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    found.lines(clean, _MACHINE_LINES, "kind")
    found.texts(clean, {"note": NOTE_LENGTH})
    found.choice(clean, "usage_unit", USAGE_UNITS)
    year = clean.get("year")
    if year is not None and not OLDEST_YEAR <= year <= this_year + 1:
        found.add("year", f"Give the year it was built, from {OLDEST_YEAR} to {this_year + 1}, or leave it empty.")
    found.raise_any()
    return clean


def check_usage(value: Decimal) -> Decimal:
    """Hours or distance on a meter, in tenths. Raises BadInput."""
    if not value.is_finite() or value < 0:
        raise field_error("value", "Give what the meter shows: a number from 0 up.")
    if value > HIGHEST_USAGE:
        raise field_error("value", f"This is more than a meter can show. Give at most {HIGHEST_USAGE:,}.")
    if value != round(value, 1):
        raise field_error("value", "Give it in tenths at the finest, such as 4210.5.")
    return round(value, 1)


def why_unlikely(
    unit: str,
    value: Decimal,
    at: datetime,
    before: tuple[Decimal, datetime] | None,
    after: tuple[Decimal, datetime] | None,
) -> str:
    """Why a reading does not fit its neighbours in time, in words; "" when it does.

    A meter goes forwards, and an hour meter no faster than the clock. A new meter or a correction breaks that: then
    a note has to say so.
    """
    sign = USAGE_UNITS[unit]
    if before and value < before[0]:
        return f"This is less than the {before[0]:,} {sign} read on {before[1]:%d %b %Y}."
    if after and value > after[0]:
        return f"This is more than the {after[0]:,} {sign} read later, on {after[1]:%d %b %Y}."
    if before and unit == "HUR":
        passed = Decimal(int((at - before[1]).total_seconds())) / 3600
        if value - before[0] > passed + 24:  # a day of grace: readings are often typed in late
            return (
                f"Since the {before[0]:,} h read on {before[1]:%d %b %Y} only {passed:,.0f} hours have passed by the "
                "clock."
            )
    return ""
