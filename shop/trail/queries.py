"""Reads of the trail room."""

from __future__ import annotations

from typing import Any

from django.db.models import Min, QuerySet

from shop.kernel import clock

from . import outbox
from .models import OutboxRow

COUNTED = 1000  # health is asked often: counting stops here


def lag() -> dict[str, int]:
    """How far behind the outbox is: rows due and not delivered (counted up to 1000), the age of the oldest in seconds,
    and rows given up."""
    now = clock.now()
    due = outbox.waiting().filter(due_at__lte=now)
    oldest = due.aggregate(at=Min("due_at"))["at"]
    return {
        "waiting": due[:COUNTED].count(),
        "oldest_seconds": int((now - oldest).total_seconds()) if oldest else 0,
        "failed": failed()[:COUNTED].count(),
    }


def failed() -> QuerySet[OutboxRow]:
    """Rows that were given up and not sent again."""
    return OutboxRow.objects.filter(failed_at__isnull=False, done_at__isnull=True)


def outbox_rows(*, state: str = "open", topic: str = "") -> QuerySet[OutboxRow]:
    """Rows of the outbox: `open` (waiting or given up), `waiting`, `failed`, `done` or `all`."""
    found: dict[str, Any] = {
        "open": {"done_at__isnull": True},
        "waiting": {"done_at__isnull": True, "failed_at__isnull": True},
        "failed": {"done_at__isnull": True, "failed_at__isnull": False},
        "done": {"done_at__isnull": False},
        "all": {},
    }
    rows = OutboxRow.objects.filter(**found[state])
    return rows.filter(topic=topic) if topic else rows


def outbox_row(pk: int) -> OutboxRow | None:
    return OutboxRow.objects.filter(pk=pk).first()
