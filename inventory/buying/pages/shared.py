from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.urls import reverse

from shop.kernel import clock
from shop.kernel.decimals import plain

from .. import printing, states
from ..models import PurchaseOrder

SHOWN = 100


def trimmed(value: Any) -> Any:
    """A stored value as a form shows it: a number without the zeros of its column."""
    return Decimal(plain(value)) if isinstance(value, Decimal) else value


def tabs(current: str) -> list[dict[str, Any]]:
    """The views of buying."""
    views = (("orders", "Orders"), ("awaited", "Still to come"), ("receipts", "Receipts"), ("bills", "Invoices"))
    return [{"label": label, "url": reverse(f"buying:{name}"), "current": name == current} for name, label in views]


def with_state(orders: Iterable[PurchaseOrder]) -> list[dict[str, Any]]:
    """Orders as lists show them."""
    today = clock.today()
    found = []
    for order in orders:
        lines = list(order.lines.all())
        late = states.days_overdue(lines, today) if order.sent_at and not order.closed_at else 0
        due = min((x.due_on for x in lines if x.due_on and x.open), default=None)
        found.append(
            {
                "order": order, "state": states.state_of(order, lines), "late": late, "due": due, "count": len(lines),
                "total": printing.total(lines, order.currency),
            }
        )  # fmt: skip
    return found
