"""Every write of the time room, by subject. The person's row is the lock (locking.py); it is taken before the card's."""

from .bookings import book, correct, take_out
from .clocks import clock_off, clock_on, close_forgotten, stop_clocks
from .work import cancel_card, finish_stage, hand_over, hold_card, hold_stage

__all__ = [
    "book",
    "cancel_card",
    "clock_off",
    "clock_on",
    "close_forgotten",
    "correct",
    "finish_stage",
    "hand_over",
    "hold_card",
    "hold_stage",
    "stop_clocks",
    "take_out",
]
