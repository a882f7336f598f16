"""What a scanned or typed code can be, by its shape alone."""

from __future__ import annotations

import re
from datetime import date

LONGEST = 200
_CARD = re.compile(r"C?(\d\d-\d{4,8})", re.IGNORECASE | re.ASCII)
_CARD_START = re.compile(r"C?(\d\d-\d{0,8})", re.IGNORECASE | re.ASCII)
_SHORT = re.compile(r"\d{1,5}", re.ASCII)
YEARS_BACK = 3


def card_code(number: str) -> str:
    """What stands in the QR code of a card's sheet. The letter keeps it apart from part numbers."""
    return f"C{number}"


def card_number(code: str) -> str:
    """The card number in a whole code ("C26-0031" or "26-0031"), else ""."""
    found = _CARD.fullmatch(code.strip())
    return found[1] if found else ""


def card_number_start(text: str) -> str:
    """How a card number begins ("26-00"), else ""."""
    found = _CARD_START.fullmatch(text.strip())
    return found[1] if found else ""


def short_numbers(text: str, today: date) -> list[str]:
    """The card numbers that a bare "31" can mean: this year's first, then those of the years before."""
    if not _SHORT.fullmatch(text.strip()):
        return []
    running = int(text)
    return [f"{(today.year - back) % 100:02d}-{running:04d}" for back in range(YEARS_BACK + 1)]
