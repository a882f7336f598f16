"""Takes out what has served its time: delivered outbox rows, kept answers, ended sessions. The trail itself stays."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.sessions.models import Session

from shop.kernel import clock, writing

from .models import KeptAnswer, OutboxRow

DELIVERED_DAYS = 30
ANSWER_DAYS = 7  # a client may retry for at least 24 hours
CHUNK = 500  # short transactions: nobody waits for the pruning


def prune() -> dict[str, int]:
    """Delete what is past its time. Answers how many rows of each kind. Safe to run at any time."""
    now = clock.now()
    return {
        "outbox": _delete(OutboxRow.objects.filter(done_at__lt=now - timedelta(days=DELIVERED_DAYS))),
        "answers": _delete(KeptAnswer.objects.filter(created_at__lt=now - timedelta(days=ANSWER_DAYS))),
        "sessions": _delete(Session.objects.filter(expire_date__lt=now)),
    }


def _delete(rows: Any) -> int:
    total = 0
    while keys := list(rows.values_list("pk", flat=True)[:CHUNK]):
        total += writing.run(rows.model.objects.filter(pk__in=keys).delete)[0]
    return total
