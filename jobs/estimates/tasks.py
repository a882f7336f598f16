"""Background work of the estimates room."""

from __future__ import annotations

from shop.trail.outbox import Event, Undeliverable, handles

from . import printing, queries
from .actions.delivering import deliver_estimate


@handles("estimate.issued")
def keep_and_mail(event: Event) -> None:
    row = queries.estimate(event.payload["estimate"])
    if row is None:
        raise Undeliverable("There is no such estimate.")
    deliver_estimate(row.pk, printing.pdf(row), printing.file_name(row))
