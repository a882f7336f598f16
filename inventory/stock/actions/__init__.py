"""Every write of the stock room. One function is one thing a person does, in one transaction."""

from .bins import add_bin, archive_bin, edit_bin
from .breaking import break_open
from .costing import close_months, revalue
from .counting import count, count_bin
from .counts import cancel_count, close_line, finish_line, start_count, start_cycle, tally
from .drawing import draw, put_back
from .moving import open_lot, scrap, send_back, transfer
from .receiving import Arrival, Outcome, receive, receive_each, receive_many
from .reserving import change_reservation, hold, release, reserve

__all__ = [
    "Arrival",
    "Outcome",
    "add_bin",
    "archive_bin",
    "break_open",
    "cancel_count",
    "change_reservation",
    "close_line",
    "close_months",
    "count",
    "count_bin",
    "draw",
    "edit_bin",
    "finish_line",
    "hold",
    "open_lot",
    "put_back",
    "receive",
    "receive_each",
    "receive_many",
    "release",
    "reserve",
    "revalue",
    "scrap",
    "send_back",
    "start_count",
    "start_cycle",
    "tally",
    "transfer",
]
