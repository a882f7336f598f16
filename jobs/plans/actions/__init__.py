"""Writes of the plans room. Each holds the plan's row, names the version it was made on and raises it."""

from .contents import add_gate, add_part, edit_gate, edit_part, remove_gate, remove_part
from .plans import add_plan, archive_plan, copy_plan, edit_plan, restore_plan
from .stages import add_stage, edit_stage, move_stage, remove_stage, set_after, take_hours

__all__ = [
    "add_gate", "add_part", "add_plan", "add_stage", "archive_plan", "copy_plan", "edit_gate", "edit_part", "edit_plan",
    "edit_stage", "move_stage", "remove_gate", "remove_part", "remove_stage", "restore_plan", "set_after", "take_hours",
]  # fmt: skip
