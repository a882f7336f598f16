"""Background work of the accounts room."""

from __future__ import annotations

from shop.trail.outbox import Event, Undeliverable, handles

from . import printing
from .actions import deliver_reminder
from .models import Reminder


@handles("reminder.issued")
def keep_and_mail(event: Event) -> None:
    row = Reminder.objects.filter(pk=event.payload["reminder"]).first()
    if row is None:
        raise Undeliverable("There is no such letter.")
    deliver_reminder(row.pk, printing.letter(row), f"{row.number}.pdf")
