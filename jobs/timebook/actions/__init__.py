"""Every write of the time room, by subject. The person's row is the lock (locking.py); it is taken before the card's."""

from .attending import (
    arrive,
    close_forgotten_attendance,
    correct_attendance,
    leave,
    note_attendance,
    take_attendance_out,
)
from .bookings import book, correct, take_out
from .clocks import clock_off, clock_on, close_forgotten, stop_clocks
from .work import cancel_card, finish_stage, hand_over, hold_card, hold_stage

__all__ = [
    "arrive",
    "book",
    "cancel_card",
    "clock_off",
    "clock_on",
    "close_forgotten",
    "close_forgotten_attendance",
    "correct",
    "correct_attendance",
    "finish_stage",
    "hand_over",
    "hold_card",
    "hold_stage",
    "leave",
    "note_attendance",
    "stop_clocks",
    "take_attendance_out",
    "take_out",
]
