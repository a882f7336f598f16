"""Parts on a card: needed, kept, drawn, fitted, fitted for trial, taken off, spoiled, returned."""

from .drawing import Drawn, draw, put_back, undo_draw
from .fitting import correct_fit, fit, fit_in_hand, spoil, take_off, trial_fit
from .needs import add_need, add_needs_of_plan, edit_need, keep, keep_for, let_go, let_go_for, remove_need

__all__ = [
    "Drawn", "add_need", "add_needs_of_plan", "correct_fit", "draw", "edit_need", "fit", "fit_in_hand", "keep", "keep_for",
    "let_go", "let_go_for", "put_back", "remove_need", "spoil", "take_off", "trial_fit", "undo_draw",
]  # fmt: skip
