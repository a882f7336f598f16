"""Every write of the cards room, by subject. All take the card's row as their lock (locking.py)."""

from .answers import decline, give_go_ahead, withdraw_go_ahead
from .cards import (
    cancel_card,
    copy_plan_onto_card,
    edit_card,
    finish_card,
    hand_over,
    machine_arrived,
    open_card,
    reopen_card,
)
from .invoiced import note_invoiced, note_unbilled
from .locking import lock_card, lock_stage
from .stages import add_gate, add_stage, assign, edit_stage, move_stage, remove_gate, remove_stage, set_after
from .work import (
    add_note,
    finish_stage,
    hold_card,
    hold_stage,
    resume_card,
    resume_stage,
    sign_gate,
    start_stage,
    unfinish_stage,
    work_on,
)

__all__ = [
    "add_gate",
    "add_note",
    "add_stage",
    "assign",
    "cancel_card",
    "copy_plan_onto_card",
    "decline",
    "edit_card",
    "edit_stage",
    "finish_card",
    "finish_stage",
    "give_go_ahead",
    "hand_over",
    "hold_card",
    "hold_stage",
    "lock_card",
    "lock_stage",
    "machine_arrived",
    "move_stage",
    "note_invoiced",
    "note_unbilled",
    "open_card",
    "remove_gate",
    "remove_stage",
    "reopen_card",
    "resume_card",
    "resume_stage",
    "set_after",
    "sign_gate",
    "start_stage",
    "unfinish_stage",
    "withdraw_go_ahead",
    "work_on",
]
