"""Account letters: statement and reminder."""

from __future__ import annotations

from dataclasses import dataclass

from shop.documents.fields import Code, Day, Money, Percent, Prose, Quantity, ShortDay, Text
from shop.documents.shapes.common import Business, Mark, Party


@dataclass(frozen=True)
class AccountEntry:
    """One row of a statement: an invoice as debit, a credit note or payment as credit, the balance after
    it.
    """

    date: ShortDay
    text: Text
    balance: Money
    number: Text = ""
    debit: Money | None = None
    credit: Money | None = None


@dataclass(frozen=True)
class AgeBand:
    """Open amount of one age, such as not yet due or 1 to 30 days late."""

    label: Text
    amount: Money


@dataclass(frozen=True)
class Statement:
    """What happened on a customer's account over a period and what is open."""

    date: Day
    currency: Text
    business: Business
    customer: Party
    period_from: Day
    period_to: Day
    opening: Money
    closing: Money
    entries: tuple[AccountEntry, ...]
    ages: tuple[AgeBand, ...] = ()
    contact: Text = ""
    intro: Prose = ""
    notes: tuple[Prose, ...] = ()
    mark: Mark = ""


@dataclass(frozen=True)
class RecalledMachine:
    """A machine that something of a bad lot went into."""

    name: Text
    card: Text
    date: ShortDay
    qty: Quantity
    serial: Text = ""
    unit: Text = ""
    lot: Text = ""


@dataclass(frozen=True)
class Recall:
    """Letter about a lot that turned out bad. `what` is wrong, and what the customer should do (`todo`; empty: call us)."""

    number: Text
    """Of the lot."""
    date: Day
    part: Text
    business: Business
    customer: Party
    machines: tuple[RecalledMachine, ...]
    batch: Text = ""
    what: Prose = ""
    todo: Prose = ""
    notes: tuple[Prose, ...] = ()
    mark: Mark = ""


@dataclass(frozen=True)
class OpenInvoice:
    number: Text
    date: ShortDay
    due_date: ShortDay
    gross: Money
    paid: Money
    open: Money
    days_late: int
    interest: Money | None = None
    interest_rate: Percent | None = None
    """Percent a year."""
    level: int | None = None
    """Its own level, where the letter is of a higher one: it is listed apart, under words of its own."""


@dataclass(frozen=True)
class Reminder:
    """Dunning letter. `level` 1 is a friendly word, 2 a firm one, 3 the last before further steps."""

    level: int
    number: Text
    date: Day
    currency: Text
    business: Business
    customer: Party
    invoices: tuple[OpenInvoice, ...]
    open_total: Money
    total: Money
    """`open_total` with interest and fee."""
    pay_by: Day
    interest_total: Money | None = None
    fee: Money | None = None
    contact: Text = ""
    text: Prose = ""
    """Replaces the wording the strings table has for this level."""
    payment_reference: Text = ""
    payment_code: Code | None = None
    notes: tuple[Prose, ...] = ()
    mark: Mark = ""
