"""Writes of accounts: letters, disputes, storage. The account is locked first, as the invoices room does it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from jobs.cards.actions import lock_card
from jobs.estimates import parties
from jobs.estimates.actions.delivering import deliver
from jobs.estimates.models import LineKind
from jobs.invoices import actions as invoices
from jobs.invoices import queries as invoice_queries
from jobs.invoices.actions.locking import lock_account, lock_issued
from jobs.invoices.models import Invoice
from shop.business import queries as business
from shop.documents.formatting import Formatter
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused
from shop.kernel.money import Money
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from . import queries
from .dunning import ZERO
from .models import Dispute, Reminder, ReminderLine, StorageCharge

TITLES = {"en": "reminder", "de": "Zahlungserinnerung"}
STORED = {
    "en": "Storage of {machine}, card {card}, {first} to {last}",
    "de": "Standgeld für {machine}, Karte {card}, {first} bis {last}",
}


@writes
def send_reminder(*, by: Person, customer_id: int) -> Reminder:
    """Write the letter a customer has coming: every overdue invoice with a letter due, at its level, never twice at one. Its
    PDF is kept and mailed when the customer agreed to be mailed. Raises NotFound, Refused when none is due or the customer's
    credit covers what it would ask for."""
    lock_account(customer_id)
    found = queries.letters(customer_id)
    if found.covered:
        (held,) = found.covered
        currency = held.lines[0].invoice.currency
        raise Refused(
            f"{Money(held.credit, currency)} stands to the credit of {held.customer.name} and covers what is late. Set it against "
            f"{', '.join(x.invoice.number for x in held.lines[:5])} first, on the page of their account.",
            code="credit-covers",
            customer_id=customer_id,
        )
    if not found.due:
        raise Refused(
            "No letter is due: nothing is late enough, the last letter is too fresh, all were sent, or what is late is in "
            "dispute.",
            code="no-letter-due",
        )
    (letter,) = found.due
    terms, profile, today = business.money_terms(), business.profile(), clock.today()
    row = Reminder.objects.create(
        number=number("REM", "reminder", today.year), customer=letter.customer, level=letter.level,
        language=parties.language_of(letter.customer), currency=letter.lines[0].invoice.currency, issued_on=today,
        issued_at=clock.now(), pay_by=today + timedelta(days=terms.remind_pay_days), open_total=letter.open_total,
        interest=letter.interest, interest_percent=business.interest_on(today) if letter.interest else ZERO, fee=letter.fee,
        seller=parties.seller(profile) | {"contact": by.name}, buyer=parties.buyer(letter.customer), by=by,
    )  # fmt: skip
    ReminderLine.objects.bulk_create(
        ReminderLine(
            reminder=row, invoice=x.invoice, level=x.level or 1, open=x.open, days_late=x.days_late, interest=x.interest
        )
        for x in letter.lines
    )
    record(
        by, "reminder.issued", row, root=letter.customer, number=row.number, level=row.level,
        invoices=[x.invoice.number for x in letter.lines],
    )  # fmt: skip
    announce("reminder.issued", reminder=row.pk)
    return row


@writes
def deliver_reminder(reminder_id: int, pdf: bytes, name: str) -> None:
    """Keep the PDF of a letter and queue its mail. The second time nothing happens."""
    row: Any = Reminder.objects.select_for_update(of=("self",)).get(pk=reminder_id)
    deliver(row, row.customer, pdf, name, TITLES.get(row.language, TITLES["en"]), row.number, root=row.customer)


@writes
def raise_dispute(*, by: Person, invoice_id: int, reason: str) -> Dispute:
    """The customer contests an invoice: letters about it stop. Raises NotFound, BadInput, Refused (draft, credit note, nothing
    open, in dispute already)."""
    reason = clean_line(reason, field="reason", required=True, max_length=300)
    invoice = lock_issued(invoice_id)
    if invoice.kind == Invoice.Kind.CREDIT or invoice_queries.outstanding(invoice) <= 0:
        raise Refused("Nothing is owed on it, so there is nothing to dispute.", code="nothing-open")
    if Dispute.objects.filter(invoice=invoice, ended_at__isnull=True).exists():
        raise Refused(f"{invoice.number} is in dispute already.", code="in-dispute")
    row = Dispute.objects.create(invoice=invoice, reason=reason, raised_at=clock.now(), raised_by=by)
    record(by, "invoice.disputed", invoice, root=invoice.card, number=invoice.number, reason=reason)
    return row


@writes
def end_dispute(dispute_id: int, *, by: Person, outcome: str) -> Dispute:
    """It is settled: letters go on. Raises NotFound, BadInput, Refused when it was ended."""
    outcome = clean_line(outcome, field="outcome", required=True, max_length=300)
    row = Dispute.objects.select_for_update(of=("self",)).select_related("invoice").filter(pk=dispute_id).first()
    if row is None:
        raise NotFound("There is no such dispute.")
    if row.ended_at is not None:
        raise Refused("This dispute was ended already.", code="ended")
    row.ended_at, row.ended_by, row.outcome = clock.now(), by, outcome
    row.save(update_fields=["ended_at", "ended_by", "outcome"])
    record(
        by, "invoice.dispute-ended", row.invoice, root=row.invoice.card, number=row.invoice.number, outcome=outcome
    )  # fmt: skip
    return row


@writes
def bill_storage(card_id: int, *, by: Person) -> Invoice:
    """A draft invoice over the days a finished machine stood here beyond the free ones. Nobody is charged by itself: it is
    looked over, changed or discarded as any draft; discarded, the days can be billed again. Raises NotFound, Refused."""
    card = lock_card(card_id)
    found = queries.uncollected(card.pk)
    if not found:
        raise Refused(
            f"Nothing is to be charged for card {card.number}: it isn't finished, was collected, stands free still, is charged "
            "up to today, or no price a day is set.",
            code="no-storage",
        )
    (stored,) = found
    draft = invoices.draft_invoice(by=by, customer_id=card.customer_id)
    form = Formatter(draft.language, draft.currency)
    text = STORED.get(draft.language, STORED["en"]).format(
        machine=" ".join(w for w in (card.machine.maker, card.machine.model) if w) or card.machine.kind,
        card=card.number, first=form.day(stored.stay.first), last=form.day(stored.stay.last),
    )  # fmt: skip
    line = invoices.add_line(
        draft.pk,
        None,
        by=by,
        kind=LineKind.STORAGE,
        text=text[:240],
        quantity=Decimal(stored.stay.days),
        unit_price=stored.per_day,
    )
    StorageCharge.objects.create(
        card=card, line=line, first_day=stored.stay.first, last_day=stored.stay.last
    )  # fmt: skip
    record(by, "card.storage-billed", card, root=card, days=stored.stay.days, net=str(stored.amount))
    return Invoice.objects.get(pk=draft.pk)
