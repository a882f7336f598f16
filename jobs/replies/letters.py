"""The mail that brings a link, in the language of the document."""

from __future__ import annotations

from typing import Any

from jobs.estimates.actions.delivering import TITLES

from . import showing
from .models import CustomerLink

_MAILS = {
    "en": (
        "{title} {number} from {shop}: your answer",
        "Dear {name},\n\nplease look at our {title} {number} and tell us what we may do, line by line:\n\n{address}\n\n"
        "The link is for you alone and works until {until}. No account is needed. Rather talk? {phone}\n\n{shop}",
    ),
    "de": (
        "{title} {number} von {shop}: Ihre Antwort",
        "Guten Tag {name},\n\nbitte sehen Sie sich {title} {number} an und sagen Sie uns Zeile für Zeile, was wir tun "
        "dürfen:\n\n{address}\n\nDer Link ist nur für Sie und gilt bis {until}. Ein Konto brauchen Sie nicht. Lieber am "
        "Telefon? {phone}\n\n{shop}",
    ),
}


def link(row: CustomerLink, address: str) -> dict[str, Any]:
    """The payload of a mail with `address` in it."""
    estimate = row.estimate
    language = estimate.language if estimate.language in _MAILS else "en"
    subject, text = _MAILS[language]
    customer = estimate.card.customer
    facts = {
        "title": TITLES[language][estimate.kind], "number": showing.called(estimate), "shop": estimate.seller["name"],
        "phone": estimate.seller["phone"], "name": customer.contact or customer.name, "address": address,
        "until": showing.moment(row.expires_at, estimate),
    }  # fmt: skip
    return {
        "to": [row.mailed_to], "reply_to": estimate.seller["email"], "subject": subject.format(**facts),
        "text": text.format(**facts),
    }  # fmt: skip
