"""What was done with invoices and payments, in sentences for their pages and for the card's history."""

from __future__ import annotations

SENTENCES = {
    "invoice.drafted": "Drafted an invoice of {lines} lines",
    "invoice.deposit-drafted": "Drafted a deposit invoice of {net} without VAT",
    "invoice.deposits-taken-off": "Took deposits of {net} without VAT off",
    "invoice.changed": "Changed what belongs to the invoice as a whole",
    "invoice.line-added": "Added the invoice line “{text}”, {net}",
    "invoice.line-changed": "Changed the invoice line “{text}”",
    "invoice.line-removed": "Removed the invoice line “{text}”",
    "invoice.unagreed-charged": "Charged “{text}”, {net}, which was never agreed",
    "invoice.issued": "Issued {number}, {gross} {currency} with VAT",
    "invoice.credited": "Credited {credits} with {number}, {gross}",
    "invoice.early-discount": "Gave {gross} off {credits} for early payment, with {number}",
    "invoice.discount-charged-again": "Charged {gross} of discount on {credits} again, with {number}",
    "invoice.discarded": "Discarded a draft invoice",
    "invoice.mailed": "{number} was mailed to {to}",
    "core.handed-in": "{quantity} old {text} came before the invoice: {condition}",
    "core.taken": "{quantity} old parts came back for “{text}” on {number}: {condition}",
    "core.refused": "{quantity} old parts for “{text}” were refused: {condition}",
    "core.kept": "Kept the deposit for {quantity} of “{text}” on {number}, {amount}",
    "core.undone": "Undid a record of {quantity} old parts",
    "payment.recorded": "Recorded a payment of {amount} {currency}",
    "payment.allocated": "Allocated money to invoices",
    "payment.reversed": "Reversed a payment, {amount}",
    "payment.refunded": "Paid {amount} {currency} back",
}
