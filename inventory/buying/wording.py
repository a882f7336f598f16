"""What was done in buying, in sentences for the history of a page."""

from __future__ import annotations

from typing import Any

from shop.trail.models import TrailRow

SENTENCES = {
    "order.drafted": "Began the order",
    "order.changed": "Changed what belongs to the order as a whole",
    "order.line-added": "Put {quantity} of {part} on it",
    "order.line-changed": "Changed a line",
    "order.line-removed": "Took {quantity} of {part} off",
    "order.sent": "Sent {number} ({how})",
    "order.mailed": "{number} was mailed to {to}",
    "order.confirmed": "Noted what the supplier confirmed",
    "order.chased": "Asked where it stays ({how})",
    "order.line-closed": "Awaits {open} less",
    "order.received": "Received of delivery note {receipt}",
    "receipt.opened": "Opened delivery note {delivery_note}",
    "receipt.changed": "Changed what belongs to the receipt as a whole",
    "receipt.line-added": "Counted {quantity} of {part}",
    "receipt.line-changed": "Counted {quantity} of {part}",
    "receipt.line-removed": "Took {quantity} of {part} off",
    "receipt.over-accepted": "Accepted more of {part} than was ordered",
    "receipt.posted": "Posted {number} into stock",
    "receipt.sent-back": "Sent {quantity} of {part} back",
    "bill.credited": "Recorded credit note {number} over {credits}, {net} before tax",
    "bill.recorded": "Recorded invoice {number}, {net} before tax",
    "file.added": "The PDF was kept",
}


def entry(row: TrailRow) -> dict[str, Any]:
    """A trail row for the {% history %} list."""
    detail = row.detail or {}
    known = SENTENCES.get(row.verb, row.verb.replace(".", ": ").replace("-", " "))
    why = "; ".join(str(detail[k]) for k in ("reason", "note") if detail.get(k))
    return {"when": row.at, "who": row.by or "", "what": known.format_map(_Said(detail)), "why": why}


class _Said(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return ""
