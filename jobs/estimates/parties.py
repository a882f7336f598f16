"""Seller, customer and subject as a document states them, copied when it is issued. Plain values, JSON-able."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from babel import Locale

from jobs.cards.models import JobCard
from jobs.machines.models import Customer, Machine
from shop.business.models import Business
from shop.documents.formatting import Formatter, languages, strings


def language_of(customer: Customer) -> str:
    """The customer's document language, if there are strings for it; else English."""
    return customer.language if customer.language in languages() else "en"


def country_name(code: str, language: str) -> str:
    return str(Locale.parse(language).territories.get(code, code)) if code else ""


def seller(profile: Business) -> dict[str, Any]:
    """Art. 226 (3) and (5), and what the letterhead shows."""
    return {
        "name": profile.legal_name or profile.name,
        "strapline": profile.name if profile.legal_name and profile.legal_name != profile.name else "",
        "address": [x for x in (profile.street, f"{profile.postcode} {profile.city}".strip()) if x],
        "street": profile.street,
        "postcode": profile.postcode,
        "city": profile.city,
        "country": profile.country,
        "phone": profile.phone,
        "email": profile.email,
        "website": profile.website,
        "vat_no": profile.vat_no,
        "registration": profile.registration,
        "iban": profile.iban,
        "bic": profile.bic,
        "note": profile.document_note,
        "is_sample": profile.is_sample,
    }


def buyer(customer: Customer) -> dict[str, Any]:
    """Art. 226 (4) and (5)."""
    return {
        "id": customer.pk,
        "number": f"C-{customer.pk:04d}",
        "name": customer.name,
        "contact": customer.contact,
        "address": [x for x in (customer.street, f"{customer.postcode} {customer.city}".strip()) if x],
        "street": customer.street,
        "postcode": customer.postcode,
        "city": customer.city,
        "country": customer.country,
        "vat_no": customer.vat_no,
        "email": customer.email,
        "phone": customer.phone,
    }


def subject(card: JobCard | None, language: str) -> dict[str, Any]:
    """The machine and the card, as they are now; empty without a card. `language`: the document's."""
    if card is None:
        return {}
    machine: Machine = card.machine
    reading = machine.readings.first()
    name = " ".join(w for w in (machine.maker, machine.model) if w)
    return {
        "card": card.number,
        "complaint": card.complaint,
        "machine": f"{name}, {machine.kind}" if name else machine.kind,
        "serial": machine.serial_no,
        "year": str(machine.year or ""),
        "meter": metered(reading.value, machine.usage_unit, language) if reading else "",
    }


def metered(value: Decimal, unit: str, language: str) -> str:
    """What a meter shows, as a document in this language writes it."""
    write = Formatter(language, "EUR")  # a count has no currency
    return f"{write.quantity(value)} {strings(language)['meters'].get(unit, unit)}"
