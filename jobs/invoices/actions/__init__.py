"""Every write of the invoices room, by subject. Locks: customer, payment, invoices by id, then the card (locking.py)."""

from .all_the_same import charge_unagreed
from .closing import close_without_invoice
from .cores import hand_in_core, keep_deposit, take_core, undo_core
from .crediting import credit_note
from .deducting import take_off_deposits
from .depositing import draft_deposit
from .drafting import (
    add_line,
    discard_invoice,
    draft_invoice,
    edit_invoice,
    edit_line,
    remove_line,
)
from .issuing import issue_invoice
from .paying import allocate, record_payment, refund, reverse_payment

__all__ = [
    "add_line",
    "allocate",
    "charge_unagreed",
    "close_without_invoice",
    "credit_note",
    "discard_invoice",
    "draft_deposit",
    "draft_invoice",
    "edit_invoice",
    "edit_line",
    "hand_in_core",
    "issue_invoice",
    "keep_deposit",
    "record_payment",
    "refund",
    "remove_line",
    "reverse_payment",
    "take_core",
    "take_off_deposits",
    "undo_core",
]
