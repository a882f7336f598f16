"""What the invoices room says of a card. It is locked by the caller."""

from __future__ import annotations

from shop.kernel import clock
from shop.kernel.writing import change

from ..models import JobCard


def note_invoiced(card: JobCard) -> None:
    """An invoice for `card` was issued; only the first is kept. The card is locked by the caller."""
    if card.invoiced_at is None:
        card.invoiced_at = clock.now()
        change(JobCard, {"id": card.pk}, invoiced_at=card.invoiced_at)


def note_unbilled(card: JobCard, reason: str, note: str) -> None:
    """`card` is over and will not be billed."""
    card.unbilled_at, card.unbilled_reason, card.unbilled_note = clock.now(), reason, note
    change(
        JobCard, {"id": card.pk}, unbilled_at=card.unbilled_at, unbilled_reason=reason, unbilled_note=note,
        version=card.version + 1,
    )  # fmt: skip
    card.version += 1
