"""Whether letters still say what invoices, payments and the arithmetic say, and statements what is owed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from django.db.models import Q, Sum

from jobs.invoices import queries as invoices
from jobs.invoices.models import Allocation, Invoice, Payment
from jobs.machines.models import Customer
from shop.kernel import clock

from . import dunning, queries
from .dunning import ZERO
from .models import Reminder, ReminderLine

FIRST = date(1970, 1, 1)


def wrong() -> Iterator[str]:
    """What doesn't hold, one sentence each. The fee is the owner's to set and changes, so of it only the sign is looked at."""
    yield from _letters()
    yield from _statements()


def _letters() -> Iterator[str]:
    rows = Reminder.objects.prefetch_related("lines__invoice").order_by("id")
    for row in rows.iterator(chunk_size=200):
        lines = list(row.lines.all())
        sums = (
            ("what is open", row.open_total, sum((x.open for x in lines), ZERO)),
            ("its interest", row.interest, sum((x.interest for x in lines), ZERO)),
            ("its level", row.level, max((x.level for x in lines), default=0)),
        )
        for what, stated, found in sums:
            if stated != found:
                yield f"{row.number}: {what} is stated as {stated} and comes to {found}."
        if row.fee < 0:
            yield f"{row.number}: its fee is stated as {row.fee}, below nothing."
        counted = queries.spans_of(row, lines)
        for line in lines:
            yield from _line(row, line, dunning.interest(counted[line.invoice_id], row.currency))


def _line(row: Reminder, line: ReminderLine, asked: Decimal) -> Iterator[str]:
    """`asked`: what its interest comes to, counted again from payments, credits and percentages."""
    invoice = line.invoice
    due_on = invoice.due_on or row.issued_on
    late = (row.issued_on - due_on).days
    settled = Allocation.objects.filter(invoice=invoice, at__lte=row.issued_at).aggregate(s=Sum("amount"))["s"]
    open_ = invoices.exact(invoice.total_gross + invoice.rounding - (settled or ZERO))
    if line.open != open_:
        yield f"{row.number}, {invoice.number}: {line.open} is stated as open and {open_} was, the day it went out."
    if line.days_late != late:
        yield f"{row.number}, {invoice.number}: {line.days_late} days late are stated and it was {late}."
    if line.interest not in (ZERO, asked):  # the level from which interest is asked for is the owner's to set
        yield f"{row.number}, {invoice.number}: interest is stated as {line.interest} and comes to {asked}."


def _statements() -> Iterator[str]:
    """The whole account of each customer, in two halves: the second begins with what the first ends with, and ends with what
    is owed less what stands to their credit."""
    today = clock.today()
    credits = invoices.free_credits()
    issued = Invoice.objects.filter(issued_at__isnull=False)
    had = Q(pk__in=issued.values("customer")) | Q(pk__in=Payment.objects.values("customer"))
    open_: dict[int, Decimal] = {}
    for row in invoices.invoices(state="open"):
        open_[row.customer_id] = open_.get(row.customer_id, ZERO) + invoices.outstanding(row)
    for customer in Customer.objects.filter(had).order_by("id"):
        whole = queries.statement(customer.pk, FIRST, today)
        if whole is None:
            continue
        owed = open_.get(customer.pk, ZERO) - credits.get(customer.pk, ZERO)
        if whole.closing != owed:
            yield f"The statement of {customer.name} ends with {whole.closing}; open invoices less credit come to {owed}."
        entries = sum((e.amount for e, _ in whole.entries), ZERO)
        if whole.opening + entries != whole.closing:
            yield f"The statement of {customer.name} begins with {whole.opening}, has {entries} and ends with {whole.closing}."
        if not whole.entries:
            continue
        day, balance = whole.entries[len(whole.entries) // 2][0].on, ZERO
        for entry, after in whole.entries:
            balance = after if entry.on < day else balance
        half = queries.statement(customer.pk, day, today)
        if half is not None and half.opening != balance:
            yield f"The statement of {customer.name} from {day} begins with {half.opening}; the day before ended with {balance}."
