"""Background work of the invoices room."""

from __future__ import annotations

from shop.trail.outbox import Event, Undeliverable, handles

from . import printing, queries
from .actions.delivering import deliver_invoice


@handles("invoice.issued")
def keep_and_mail(event: Event) -> None:
    row = queries.invoice(event.payload["invoice"])
    if row is None:
        raise Undeliverable("There is no such invoice.")
    deliver_invoice(row.pk, printing.pdf(row), printing.file_name(row))
