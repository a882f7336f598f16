"""Writes of the trail room that a person does."""

from __future__ import annotations

from typing import Any

from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused
from shop.kernel.writing import writes

from .models import OutboxRow
from .record import record, ring_after_commit


@writes
def send_again(pk: int, *, by: Any) -> OutboxRow:
    """Try a side effect again now, with all its attempts before it.

    Raises NotFound, and Refused for one that was delivered or is being delivered at this moment.
    """
    row = OutboxRow.objects.select_for_update().filter(pk=pk).first()
    if row is None:
        raise NotFound("There is no such row in the outbox.")
    if row.done_at:
        raise Refused("This was delivered. To send it once more, do it from the page where it came from.")
    if row.claimed_at:
        raise Refused("This is being delivered at this moment. Look again in a minute.")
    row.failed_at, row.attempts, row.due_at = None, 0, clock.now()
    row.save(update_fields=["failed_at", "attempts", "due_at"])
    record(by, "outbox.sent-again", row, topic=row.topic, last_error=row.last_error[:200])
    ring_after_commit()
    return row
