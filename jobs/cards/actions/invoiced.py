"""What the invoices room says of a card."""

from __future__ import annotations

from datetime import datetime

from shop.kernel.writing import change

from ..models import JobCard


def note_invoiced(card: JobCard, at: datetime) -> None:
    """An invoice for `card` was issued; only the first is kept. The card is locked by the caller."""
    if card.invoiced_at is None:
        card.invoiced_at = at
        change(JobCard, {"id": card.pk}, invoiced_at=at)
