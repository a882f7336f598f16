"""What was done with an estimate, in sentences for its page and for the card's history."""

from __future__ import annotations

SENTENCES = {
    "estimate.drafted": "Drafted {kind} of {lines} lines",
    "estimate.changed": "Changed what belongs to the estimate as a whole",
    "estimate.line-added": "Added the estimate line “{text}”, {net}",
    "estimate.line-changed": "Changed the estimate line “{text}”",
    "estimate.line-moved": "Moved the estimate line “{text}”",
    "estimate.line-removed": "Removed the estimate line “{text}”",
    "estimate.issued": "Issued {number} revision {revision}, {gross} {currency} with VAT",
    "estimate.prices-taken": "Took today's prices; changed: {count}",
    "estimate.prices-kept": "Issued with prices that are others today; kept: {count}",
    "estimate.superseded": "{number} revision {revision} was superseded",
    "estimate.revised": "Began {number} revision {revision}",
    "estimate.withdrawn": "Withdrew {number}",
    "estimate.discarded": "Discarded a draft estimate",
    "estimate.answered": "Recorded what {said_by} said to {number}: {accepted} yes, {declined} no",
    "estimate.mailed": "{number} was mailed to {to}",
}

WORDS = {
    "kind": {"estimate": "an estimate", "quotation": "a firm quotation", "additional": "a notice of additional work"},
}
