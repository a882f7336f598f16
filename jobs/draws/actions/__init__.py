"""Parts on a card: needed, kept, drawn, fitted, fitted for trial, taken off, spoiled, returned."""

from .arriving import hold_their_cards, keep_what_came
from .declining import Pair, decline_parts, drop_answers, want_parts_again
from .drawing import Drawn, draw, put_back, undo_draw
from .fitting import correct_fit, fit, fit_in_hand, spoil, take_off, trial_fit
from .moving import move
from .needs import (
    add_need,
    add_needs_of_plan,
    edit_need,
    keep,
    keep_for,
    keep_for_card,
    let_go,
    let_go_for,
    remove_need,
)
from .ordering import Ordered, order_for, order_missing
from .trays import clear_emptied, clear_tray, put_in_tray

__all__ = [
    "Drawn",
    "Ordered",
    "Pair",
    "add_need",
    "add_needs_of_plan",
    "clear_emptied",
    "clear_tray",
    "correct_fit",
    "decline_parts",
    "draw",
    "drop_answers",
    "edit_need",
    "fit",
    "fit_in_hand",
    "hold_their_cards",
    "keep",
    "keep_for",
    "keep_for_card",
    "keep_what_came",
    "let_go",
    "let_go_for",
    "move",
    "order_for",
    "order_missing",
    "put_back",
    "put_in_tray",
    "remove_need",
    "spoil",
    "take_off",
    "trial_fit",
    "undo_draw",
    "want_parts_again",
]
