"""Reads of accounts. All follow from invoices, credit notes and payments; nothing of it is stored."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db.models import DecimalField, F, QuerySet, Sum
from django.utils import timezone

from jobs.cards.models import JobCard
from jobs.invoices import queries as invoices
from jobs.invoices.models import OPEN, Allocation, Invoice, InvoiceLine, Payment, StandingCredit
from jobs.machines.models import Customer
from shop.business import queries as business
from shop.kernel import clock

from . import dunning
from .dunning import BANDS, ZERO, Entry, Stay
from .models import Dispute, Reminder, ReminderLine, StorageCharge

AMOUNT = DecimalField(max_digits=20, decimal_places=4)


@dataclass
class Aged:
    """What a customer owes, by age: not due, 1-30, 31-60, 61-90 and more than 90 days late; `credit` settles nothing yet."""

    customer: Customer
    bands: list[Decimal] = field(default_factory=lambda: [ZERO] * (len(BANDS) + 1))
    credit: Decimal = ZERO

    @property
    def owed(self) -> Decimal:
        return sum(self.bands, ZERO)

    @property
    def balance(self) -> Decimal:
        return self.owed - self.credit


def ages(customer_id: int | None = None) -> list[Aged]:
    """Every customer with something open or to their credit, the largest debt first, then the largest credit. Two queries;
    reads what is open, not what was."""
    today = clock.today()
    found: dict[int, Aged] = {}
    for row in invoices.invoices(customer_id=customer_id).filter(OPEN):
        mine = found.setdefault(row.customer_id, Aged(row.customer))
        mine.bands[dunning.band(row.due_on or today, today)] += invoices.outstanding(row)
    credits = StandingCredit.objects.select_related("customer")
    for kept in credits if customer_id is None else credits.filter(customer=customer_id):
        found.setdefault(kept.customer_id, Aged(kept.customer)).credit = invoices.exact(kept.amount)
    return sorted(found.values(), key=lambda a: (-a.owed, -a.credit, a.customer.pk))


def ages_at(customer: Customer, day: date) -> Aged:
    """What a customer owed at the end of a day, by how late it was then; `balance` is what a statement to that day closes with.

    Each row counts on its day in the books: an allocation that was written with its payment or credit note on the day of
    that, a later one on its own, and none before there was something to settle."""
    found = Aged(customer)
    open_: dict[int, Decimal] = {}
    due: dict[int, date] = {}
    documents = Invoice.objects.filter(customer=customer, issued_on__lte=day)
    for row in documents.only("kind", "issued_on", "due_on", "total_gross", "rounding"):
        amount = row.total_gross + row.rounding
        if row.kind == Invoice.Kind.CREDIT:
            found.credit += amount
        else:
            open_[row.pk], due[row.pk] = amount, row.due_on or day
    paid = Payment.objects.filter(customer=customer, received_on__lte=day).aggregate(s=Sum("amount"))["s"]
    found.credit += invoices.exact(paid)
    rows = Allocation.objects.filter(invoice__customer=customer).select_related("invoice", "payment", "credit_note")
    for each in rows.only(
        "invoice__issued_on", "payment__received_on", "payment__at", "credit_note__issued_on", "credit_note__issued_at",
        "amount", "at",
    ):  # fmt: skip
        if _settled_on(each) <= day:
            open_[each.invoice_id] -= each.amount
            found.credit -= each.amount
    for pk, left in open_.items():
        found.bands[dunning.band(due[pk], day)] += invoices.exact(left)
    return found


def spans(rows: Iterable[Invoice], until: date, *, known_at: datetime | None = None) -> dict[int, list[dunning.Span]]:
    """What interest is counted over, by invoice: the days it was late up to `until`, by what was open on them and by the
    percentage that held. A payment or credit counts from the day it was here, whenever it was set against the invoice: nobody is
    asked for interest on money that we hold. `known_at`: only what had been written then. Two queries."""
    chosen = list(rows)
    given = Allocation.objects.filter(invoice__in=chosen).select_related("invoice", "payment", "credit_note")
    settled: dict[int, list[tuple[date, Decimal]]] = defaultdict(list)
    for each in given if known_at is None else given.filter(at__lte=known_at):
        settled[each.invoice_id].append((_here_on(each), each.amount))
    rates = business.interest_rates(known_at)
    return {
        x.pk: dunning.spans(x.due_on or until, until, x.total_gross + x.rounding, settled[x.pk], rates) for x in chosen
    }


def spans_of(letter: Reminder, lines: Iterable[ReminderLine]) -> dict[int, list[dunning.Span]]:
    """What the interest of a letter was counted over, by invoice: always the same from its rows. Letters of before percentages
    had a day asked for all days at the percentage and on the amount of the day they were written."""
    chosen = list(lines)
    dated = business.interest_dated_since()
    if dated is None or letter.issued_at < dated:
        return {x.invoice_id: [dunning.Span(x.open, letter.interest_percent, x.days_late)] for x in chosen}
    return spans((x.invoice for x in chosen), letter.issued_on, known_at=letter.issued_at)


def _here_on(row: Allocation) -> date:
    """The day from which there was both the money and the invoice that it was set against."""
    source = row.payment or row.credit_note
    began = source.received_on if isinstance(source, Payment) else source.issued_on if source else None
    made = timezone.localdate(row.at)
    return max(began or made, row.invoice.issued_on or made)


def _settled_on(row: Allocation) -> date:
    """The day of an allocation in the books."""
    source = row.payment or row.credit_note
    written = source.at if isinstance(source, Payment) else source.issued_at if source else None
    return _here_on(row) if written == row.at else max(timezone.localdate(row.at), _here_on(row))


# --- statements ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Statement:
    """What happened on an account from a day to a day. Above zero: the customer owes."""

    customer: Customer
    since: date
    until: date
    opening: Decimal
    entries: list[tuple[Entry, Decimal]]
    currency: str

    @property
    def closing(self) -> Decimal:
        return self.entries[-1][1] if self.entries else self.opening


def statement(customer_id: int, since: date, until: date) -> Statement | None:
    """None when there is no such customer."""
    customer = Customer.objects.filter(pk=customer_id).first()
    if customer is None:
        return None
    documents = Invoice.objects.filter(customer=customer, issued_at__isnull=False)
    money = Payment.objects.filter(customer=customer)
    gross = Sum(F("total_gross") + F("rounding"), output_field=AMOUNT)
    before = documents.filter(issued_on__lt=since)
    charged = before.exclude(kind=Invoice.Kind.CREDIT).aggregate(s=gross)["s"]
    credited = before.filter(kind=Invoice.Kind.CREDIT).aggregate(s=gross)["s"]
    paid = money.filter(received_on__lt=since).aggregate(s=Sum("amount"))["s"]
    opening = invoices.exact(charged) - invoices.exact(credited) - invoices.exact(paid)
    entries = []
    for row in documents.filter(issued_on__range=(since, until)):
        due = row.total_gross + row.rounding
        sign = -1 if row.kind == Invoice.Kind.CREDIT else 1
        entries.append(Entry(row.issued_on or since, (0, row.pk), row.kind, row.number, sign * due))
    for one in money.filter(received_on__range=(since, until)).select_related("reverses"):
        what = (
            "reversal"
            if one.reverses_id
            else "rounding"
            if one.rounds_id
            else "refund"
            if one.amount < 0
            else "payment"
        )
        # of a reversal its own words are the shop's reason, for no customer to read
        number = one.reverses.reference if one.reverses else one.reference
        entries.append(Entry(one.received_on, (1, one.pk), what, number, -one.amount))
    return Statement(
        customer, since, until, opening, dunning.running(opening, entries), business.profile().currency
    )  # fmt: skip


# --- letters ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Late:
    """An overdue invoice: which letter it has coming (None: none today), what is open, interest as it would be asked for."""

    invoice: Invoice
    open: Decimal
    days_late: int
    level: int | None
    sent: int  # the last level that went out
    interest: Decimal
    dispute: Dispute | None


@dataclass(frozen=True)
class Proposal:
    """A letter that a customer has coming. `credit`: what was paid or credited and settles nothing yet."""

    customer: Customer
    level: int
    lines: list[Late]
    fee: Decimal
    credit: Decimal = ZERO

    @property
    def covered(self) -> bool:
        """The shop holds all that the letter would ask for; it only has to be set against the invoices."""
        return self.credit >= self.open_total

    @property
    def open_total(self) -> Decimal:
        return sum((x.open for x in self.lines), ZERO)

    @property
    def interest(self) -> Decimal:
        return sum((x.interest for x in self.lines), ZERO)

    @property
    def total(self) -> Decimal:
        return self.open_total + self.interest + self.fee


def late(customer_id: int | None = None) -> list[Late]:
    """Overdue invoices, the oldest due day first, with the letter each has coming. A fixed number of queries."""
    today, terms = clock.today(), business.money_terms()
    rows = list(invoices.invoices(customer_id=customer_id).filter(OPEN, due_on__lt=today).order_by("due_on", "id"))
    sent: dict[int, list[tuple[int, date]]] = defaultdict(list)
    for pk, told, on in ReminderLine.objects.filter(invoice__in=rows).values_list(
        "invoice_id", "level", "reminder__issued_on"
    ):
        sent[pk].append((told, on))
    disputes = {d.invoice_id: d for d in Dispute.objects.filter(invoice__in=rows, ended_at__isnull=True)}
    days = {1: terms.remind_days_1, 2: terms.remind_days_2, 3: terms.remind_days_3}
    counted = spans(rows, today)
    found = []
    for row in rows:
        due_on = row.due_on or today
        dispute = disputes.get(row.pk)
        level = None if dispute else dunning.next_level(due_on, sent[row.pk], days, today)
        amount, late_for = invoices.outstanding(row), (today - due_on).days
        charge = level is not None and level >= terms.interest_from
        asked = dunning.interest(counted[row.pk], row.currency) if charge else ZERO
        last = max((n for n, _ in sent[row.pk]), default=0)
        found.append(Late(row, amount, late_for, level, last, asked, dispute))
    return found


@dataclass(frozen=True)
class Letters:
    """Letters to write today; those that aren't written because the money for them stands to the customer's credit; and
    overdue invoices that have no letter coming."""

    due: list[Proposal]
    covered: list[Proposal]
    waiting: list[Late]


def letters(customer_id: int | None = None) -> Letters:
    """One letter for each customer with an invoice that has one coming. A fixed number of queries."""
    terms = business.money_terms()
    fees = {1: terms.remind_fee_1, 2: terms.remind_fee_2, 3: terms.remind_fee_3}
    by_customer: dict[int, list[Late]] = defaultdict(list)
    waiting = []
    for row in late(customer_id):
        if row.level is None:
            waiting.append(row)
        else:
            by_customer[row.invoice.customer_id].append(row)
    credits = dict(StandingCredit.objects.filter(customer__in=by_customer).values_list("customer", "amount"))
    found = []
    for owner, lines in by_customer.items():
        level = max(x.level or 1 for x in lines)
        credit = invoices.exact(credits.get(owner))
        found.append(Proposal(lines[0].invoice.customer, level, lines, fees[level], credit))
    return Letters([p for p in found if not p.covered], [p for p in found if p.covered], waiting)


def proposals(customer_id: int | None = None) -> list[Proposal]:
    """The letters that are due today. Whose credit covers what is open has none: nobody is asked for money that is here."""
    return letters(customer_id).due


def reminders(*, customer_id: int | None = None) -> QuerySet[Reminder]:
    rows = Reminder.objects.select_related("customer", "by")
    return rows.filter(customer=customer_id) if customer_id is not None else rows


def disputes(*, invoice_id: int | None = None) -> QuerySet[Dispute]:
    rows = Dispute.objects.select_related("invoice", "raised_by", "ended_by")
    return rows.filter(invoice=invoice_id) if invoice_id is not None else rows


# --- storage ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stored:
    """A finished machine that wasn't collected, and what its days would come to, net."""

    card: JobCard
    stay: Stay
    per_day: Decimal

    @property
    def amount(self) -> Decimal:
        return self.per_day * self.stay.days


def uncollected(card_id: int | None = None) -> list[Stored]:
    """Finished, not handed over, beyond the free days and not charged yet, the longest first. Nothing while no price is set."""
    terms = business.money_terms()
    if not terms.storage_per_day:
        return []
    rows = JobCard.objects.filter(finished_at__isnull=False, handed_over_at__isnull=True, cancelled_at__isnull=True)
    if card_id is not None:
        rows = rows.filter(pk=card_id)
    charged, credited = _charged(rows)
    found = []
    for card in rows.select_related("customer", "machine").order_by("finished_at", "id"):
        if card.finished_at is None:
            continue
        finished = timezone.localdate(card.finished_at)
        days = dunning.stay(
            finished, terms.storage_free_days, charged.get(card.pk), clock.today(), credited[card.pk]
        )  # fmt: skip
        if days is not None:
            found.append(Stored(card, days, terms.storage_per_day))
    return found


def _charged(cards: QuerySet[JobCard]) -> tuple[dict[int, date], dict[int, set[date]]]:
    """By card, up to which day storage is charged, and the days whose charge was credited whole and that none charges since. Two
    queries."""
    charges = list(StorageCharge.objects.filter(card__in=cards).select_related("line"))
    back = InvoiceLine.objects.filter(credits_line__in=[x.line_id for x in charges], invoice__issued_at__isnull=False)
    taken: dict[int, Decimal] = defaultdict(Decimal)
    for line_id, quantity in back.values_list("credits_line_id", "quantity"):
        taken[line_id] += quantity
    last: dict[int, date] = {}
    days: dict[int, set[date]] = defaultdict(set)
    lost: dict[int, set[date]] = defaultdict(set)
    for x in charges:
        span = dunning.Stay(x.first_day, x.last_day)
        if taken[x.line_id] >= x.line.quantity:
            lost[x.card_id].update(span.each())
        else:
            days[x.card_id].update(span.each())
            last[x.card_id] = max(x.last_day, last.get(x.card_id, x.last_day))
    return last, defaultdict(set, {card: found - days[card] for card, found in lost.items()})
