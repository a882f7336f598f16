from __future__ import annotations

from . import mail, pruning
from .chores import chore
from .outbox import Event, handles


@handles("mail.send")
def send_mail(event: Event) -> None:
    mail.send(event)


@chore("trail.prune", minutes=24 * 60)
def prune() -> None:
    pruning.prune()
