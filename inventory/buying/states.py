"""In what state an order is, said in words. Derived; nobody sets it."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from .models import OrderLine, PurchaseOrder


class State(NamedTuple):
    """`code` for programs, `mark` beside the words (shop/ui/marks.py)."""

    code: str
    mark: str
    words: str


DRAFT = State("draft", "draft", "Draft")
SENT = State("sent", "sent", "Sent, not confirmed")
CONFIRMED = State("confirmed", "kept", "Confirmed")
PART = State("part-received", "doing", "Received in part")
CLOSED = State("closed", "done", "Closed")


def state_of(order: PurchaseOrder, lines: list[OrderLine]) -> State:
    """Draft, sent, confirmed, part received or closed."""
    if order.sent_at is None:
        return DRAFT
    if order.closed_at is not None:
        return CLOSED
    if any(line.received for line in lines):
        return PART
    return CONFIRMED if order.confirmed_at is not None else SENT


def days_overdue(lines: list[OrderLine], today: date) -> int:
    """By how many days the longest awaited line is late; 0: none is."""
    late = [(today - line.due_on).days for line in lines if line.due_on and line.due_on < today and line.open]
    return max(late, default=0)
