"""Every write of the estimates room, by subject. The estimate's row is the lock; it comes before its card's."""

from .answers import record_go_ahead, refuse_unanswerable
from .delivering import deliver_estimate
from .drafting import (
    add_line,
    discard_estimate,
    draft_estimate,
    edit_estimate,
    edit_line,
    move_line,
    remove_line,
    set_discount,
)
from .issuing import fingerprint, issue_estimate, new_revision, withdraw_estimate
from .limit import go_on_within_limit
from .repricing import take_todays_prices

__all__ = [
    "add_line",
    "deliver_estimate",
    "discard_estimate",
    "draft_estimate",
    "edit_estimate",
    "edit_line",
    "fingerprint",
    "go_on_within_limit",
    "issue_estimate",
    "move_line",
    "new_revision",
    "record_go_ahead",
    "refuse_unanswerable",
    "remove_line",
    "set_discount",
    "take_todays_prices",
    "withdraw_estimate",
]
