"""What happens after an issue: the PDF is kept with the invoice, and mailed to a customer who agreed to be mailed."""

from __future__ import annotations

from jobs.estimates.actions.delivering import deliver
from shop.kernel.writing import writes

from ..models import Invoice

TITLES = {
    "en": {"invoice": "invoice", "deposit": "deposit invoice", "credit": "credit note", "debit": "debit note"},
    "de": {
        "invoice": "Rechnung",
        "deposit": "Anzahlungsrechnung",
        "credit": "Rechnungskorrektur",
        "debit": "Belastung",
    },
}


@writes
def deliver_invoice(invoice_id: int, pdf: bytes, name: str) -> None:
    """Keep the PDF of an issued invoice or credit note and queue its mail. The second time nothing happens."""
    row = Invoice.objects.select_for_update(of=("self",)).get(pk=invoice_id)
    title = TITLES.get(row.language, TITLES["en"])[row.kind]
    deliver(row, row.customer, pdf, name, title, row.number, root=row.card)
