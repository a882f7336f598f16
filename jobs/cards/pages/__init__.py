"""Staff pages of cards and stages."""

from .cards import arrived, cards, edit_card, finish, history, note, reopen, resume
from .stages import (
    add_gate,
    add_stage,
    edit_stage,
    move,
    remove_gate,
    remove_stage,
    resume_stage,
    sign,
    stage,
    start,
    unfinish,
)

__all__ = [
    "add_gate",
    "add_stage",
    "arrived",
    "cards",
    "edit_card",
    "edit_stage",
    "finish",
    "history",
    "move",
    "note",
    "remove_gate",
    "remove_stage",
    "reopen",
    "resume",
    "resume_stage",
    "sign",
    "stage",
    "start",
    "unfinish",
]
