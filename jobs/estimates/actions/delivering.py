"""What happens after an issue: the PDF is kept with its document, and mailed to a customer who agreed to be mailed."""

from __future__ import annotations

from typing import Any

from jobs.machines.models import Customer
from shop.documents.actions import keep_document
from shop.kernel.writing import writes
from shop.trail.record import announce, kind_of, record

from ..models import Estimate, MoneyDocument
from ..printing import called

MAILS = {
    "en": (
        "{title} {number} from {shop}",
        "Dear {name},\n\nattached is our {title} {number}. If anything is unclear, call us or answer this mail.\n\n{shop}\n"
        "{phone}",
    ),
    "de": (
        "{title} {number} von {shop}",
        "Guten Tag {name},\n\nanbei {title} {number}. Bei Fragen rufen Sie uns an oder antworten Sie auf diese Nachricht."
        "\n\n{shop}\n{phone}",
    ),
}
TITLES = {
    "en": {"estimate": "estimate", "quotation": "quotation", "additional": "notice of additional work"},
    "de": {"estimate": "Kostenvoranschlag", "quotation": "Angebot", "additional": "Mitteilung über Zusatzarbeiten"},
}


@writes
def deliver_estimate(estimate_id: int, pdf: bytes, name: str) -> None:
    """Keep the PDF of an issued estimate and queue its mail. The second time nothing happens."""
    estimate = Estimate.objects.select_for_update(of=("self",)).get(pk=estimate_id)
    number = called(estimate.number, estimate.revision, estimate.language)
    title = TITLES.get(estimate.language, TITLES["en"])[estimate.kind]
    deliver(estimate, estimate.card.customer, pdf, name, title, number, root=estimate.card)


def deliver(
    row: MoneyDocument, customer: Customer, pdf: bytes, name: str, title: str, number: str, *, root: Any = None
) -> None:
    """Attachment and mail of a document, once; the row is locked by the caller."""
    file = keep_document(row, pdf, name, f"{title.capitalize()} {number}", root=root)
    if file is None:
        return
    if not customer.mail_consent_at or not customer.email:
        return
    subject, text = MAILS.get(row.language, MAILS["en"])
    facts = {
        "title": title, "number": number, "shop": row.seller["name"], "phone": row.seller["phone"],
        "name": customer.contact or customer.name,
    }  # fmt: skip
    announce(
        "mail.send",
        to=[customer.email],
        reply_to=row.seller["email"],
        subject=subject.format(**facts),
        text=text.format(**facts),
        attachments=[{"file": file.file.name, "name": name, "type": "application/pdf"}],
    )
    record(None, f"{kind_of(row)}.mailed", row, root=root, number=number, to=customer.email)
