"""Background work of the time room."""

from __future__ import annotations

from .actions import close_forgotten


def end_forgotten_clocks() -> int:
    """Several times a day: end clocks that ran past the day's end."""
    return close_forgotten()
