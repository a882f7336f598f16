"""Background work of the time room."""

from __future__ import annotations

from shop.trail.chores import chore

from . import actions


@chore("timebook.close-forgotten", minutes=15)
def close_forgotten() -> None:
    actions.close_forgotten()
    actions.close_forgotten_attendance()
