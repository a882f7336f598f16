"""What the owner types about the business, cleaned and checked. Plain values in and out."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from shop.kernel.countries import check_country
from shop.kernel.errors import BadInput
from shop.kernel.findings import Findings
from shop.kernel.identity import Verdict, check_iban, check_vat
from shop.kernel.rounding import minor_units

LENGTHS: Final = {
    "name": 120, "legal_name": 160, "street": 160, "postcode": 20, "city": 80, "country": 2, "phone": 40, "email": 254,
    "website": 120, "vat_no": 20, "registration": 80, "iban": 42, "bic": 11, "currency": 3,
}  # fmt: skip


def check_profile(given: Mapping[str, Any], *, country: str, books_in: str = "") -> dict[str, Any]:
    """The values cleaned. `country`: as it is so far; `books_in`: the currency that can't change any more, "" while it can.

    Raises BadInput naming every wrong field.
    """
    values, found = dict(given), Findings()
    found.lines(values, LENGTHS, "name", "currency")
    found.texts(values, {"document_note": 2000})
    found.amount(
        values, "sundries_percent", Decimal(100), 3, "Give a percentage from 0 to 100, with at most 3 decimals."
    )
    for name, least in (("payment_days", 0), ("estimate_days", 1)):
        if name in values and not (isinstance(values[name], int) and least <= values[name] <= 365):
            found.add(name, f"Give {least} to 365 days.")
    if values.get("email"):
        try:
            validate_email(values["email"])
        except ValidationError:
            found.add("email", "This is no e-mail address. Write it like name@place.example.")
    if "country" in values:
        try:
            country = values["country"] = check_country(values["country"])
        except BadInput as error:
            found.note(error)
    if values.get("iban"):
        iban = check_iban(values["iban"])
        values["iban"] = iban.number
        if not iban.ok:
            found.add("iban", iban.reason)
    if values.get("vat_no"):
        vat = check_vat(values["vat_no"], country)
        values["vat_no"] = vat.number
        if vat.verdict is Verdict.BAD:
            found.add("vat_no", vat.reason)
    if values.get("currency"):
        _check_currency(values, books_in, found)
    found.raise_any()
    return values


def _check_currency(values: dict[str, Any], books_in: str, found: Findings) -> None:
    values["currency"] = values["currency"].upper()
    try:
        minor_units(values["currency"])
    except BadInput as error:
        found.add("currency", error.message)
        return
    if books_in and values["currency"] != books_in:
        found.add(
            "currency", f"This database keeps its books in {books_in}. Another currency needs a database of its own."
        )
