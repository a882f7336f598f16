"""Background work of the buying room."""

from __future__ import annotations

from shop.trail.outbox import Event, Undeliverable, handles

from . import printing, queries
from .actions.sending import deliver_order


@handles("order.sent")
def keep_and_mail(event: Event) -> None:
    order = queries.order(event.payload["order"])
    if order is None:
        raise Undeliverable("There is no such order.")
    deliver_order(order.pk, printing.pdf(order), printing.file_name(order))
