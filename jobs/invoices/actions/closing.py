"""A card that is over and will not be billed: warranty, goodwill, a machine of the shop's own."""

from __future__ import annotations

from jobs.cards.actions import lock_card, note_unbilled
from jobs.cards.models import JobCard, Unbilled
from shop.kernel.errors import Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import Invoice


@writes
def close_without_invoice(card_id: int, *, by: Person, reason: str, note: str = "") -> JobCard:
    """The card is not billed: what its parts cost leaves work in progress now, as an expense of its own. An invoice after it
    takes an owner's word.

    Raises NotFound, BadInput (reason; "other" without a note), Refused (not handed over, invoiced, closed so already, a draft is
    there).
    """
    if reason not in Unbilled.values:
        raise field_error("reason", "Choose one of: " + ", ".join(Unbilled.values) + ".", code="unknown-reason")
    note = clean_line(note, field="note", required=reason == Unbilled.OTHER, max_length=200)
    card = lock_card(card_id)
    if card.handed_over_at is None:
        raise Refused(
            f"Card {card.number} isn't handed over, so there may be more to do. Hand it over first, or cancel it.",
            code="not-handed-over",
        )
    if card.invoiced_at is not None:
        raise Refused(f"Card {card.number} is invoiced. Credit the invoice if nothing is to be paid.", code="invoiced")
    if card.unbilled_at is not None:
        raise Refused(f"Card {card.number} was closed without an invoice already.", code="unbilled")
    draft = Invoice.objects.filter(card=card, issued_at__isnull=True).first()
    if draft is not None:
        raise Refused(
            "A draft of its invoice is there. Discard it first, or issue it.", code="draft-open", invoice_id=draft.pk
        )
    note_unbilled(card, reason, note)
    record(by, "card.unbilled", card, what=Unbilled(reason).label, note=note)
    return card
