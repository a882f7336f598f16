"""What the invoices room says of a card."""

from __future__ import annotations

from shop.kernel import clock
from shop.kernel.writing import change

from ..models import JobCard


def note_invoiced(card: JobCard) -> None:
    """An invoice for `card` was issued; only the first is kept. The card is locked by the caller."""
    if card.invoiced_at is None:
        card.invoiced_at = clock.now()
        change(JobCard, {"id": card.pk}, invoiced_at=card.invoiced_at)
