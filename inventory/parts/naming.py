"""How a part is named and found. Plain values."""

from __future__ import annotations

from collections.abc import Iterable

from shop.kernel.folding import fold

from .models import Part


def find_text(part: Part, codes: Iterable[str]) -> str:
    """What a part is found by, with its barcodes."""
    return fold(" ".join((part.number, part.name, *codes)))


def away(part: Part) -> str:
    """Said behind the number of a part that was put away."""
    return " (archived)" if part.archived_at else ""
