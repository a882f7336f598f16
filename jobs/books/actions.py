"""Every write of the books. The one lock is the gate: closing and reopening take it alone, what is dated back into an
earlier month shares it and keeps that month open until its commit."""

from __future__ import annotations

import re
from datetime import date

from jobs.timebook.models import TimeBooking
from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.statements import Joined
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from . import gathering, queries
from .accounts import BY_KEY
from .chart import Chart
from .models import AccountChoice, ClosingTotal, Gate, MonthClosing, Reopening

_SHARED = Joined("SELECT {g} FROM jobs_books_gate g WHERE g.id = 1 {lock}", lock="FOR SHARE", g=Gate)
_TAX = re.compile(r"[A-Z]{1,2} \d{1,3}(\.\d{1,3})?")


def refuse_closed(day: date, field: str) -> None:
    """Raises BadInput at `field` when the month of `day` is closed; else nobody closes it before the commit of this write."""
    found = _SHARED.one([])
    if found is None:
        Gate.objects.bulk_create([Gate(pk=1)], ignore_conflicts=True)
        found = _SHARED.one([])
    assert found is not None  # noqa: S101  it was made
    open_from = found[0].open_from
    if open_from is not None and day < open_from:
        raise field_error(
            field,
            f"{day:%B %Y} is closed for the books; the first open day is {open_from:%-d %B %Y}. Give a day from then on, or ask "
            "the owner to open the month again.",
            code="month-closed",
        )


def _alone() -> Gate:
    Gate.objects.bulk_create([Gate(pk=1)], ignore_conflicts=True)
    return Gate.objects.select_for_update().get(pk=1)


@writes
def close_month(*, by: Person, month: date) -> MonthClosing:
    """Close the month that `month` lies in: its totals by account are kept, and nothing is dated back into it any more.

    Months are closed in their order; with the first all before it are closed too. Raises Refused when it is not over for an
    hour yet, is closed, another comes first, or a clock of it still runs.
    """
    gate = _alone()
    first = month.replace(day=1)
    until = gathering.month_after(first)
    if gate.open_from is not None and first < gate.open_from:
        raise Refused(f"{first:%B %Y} is closed already.", code="month-closed")
    if gate.open_from is not None and first > gate.open_from:
        raise Refused(f"Close {gate.open_from:%B %Y} first: months are closed in their order.", code="earlier-open")
    if not queries.ended(first):
        raise Refused(f"{first:%B %Y} isn't over. Close it an hour after its end or later.", code="month-runs")
    running = TimeBooking.objects.filter(
        ended_at__isnull=True, superseded_at__isnull=True, started_at__lt=gathering.begins(until)
    )
    who = sorted({x.person.name for x in running.select_related("person")[:5]})
    if who:
        raise Refused(f"Clocks of {first:%B %Y} still run: {', '.join(who)}. Clock off first.", code="clock-running")
    found, entries = queries.totals(first, until)
    row = MonthClosing.objects.create(month=first, entries=entries, by=by, at=clock.now())
    chart = Chart()
    totals = []
    for x in found:
        account = chart.of(x.purpose, x.tax)
        totals.append(
            ClosingTotal(
                closing=row, purpose=x.purpose, tax=x.tax, number=account.number, name=account.name, currency=x.currency,
                debit=x.debit, credit=x.credit,
            )
        )  # fmt: skip
    ClosingTotal.objects.bulk_create(totals)
    gate.open_from = until
    gate.save(update_fields=["open_from"])
    record(by, "books.closed", row, month=first, entries=entries)
    return row


@writes
def reopen_month(closing_id: int, *, by: Person, reason: str) -> Reopening:
    """Open the last closed month again. What it came to stays kept. Raises BadInput (reason), Refused when it is not the
    last one that is closed."""
    reason = clean_line(reason, field="reason", required=True)
    gate = _alone()
    last = queries.standing()
    if last is None or last.pk != closing_id:
        raise Refused(
            f"Only the last closed month can be opened again: {last.month:%B %Y}." if last else "No month is closed.",
            code="not-the-last",
        )
    row = Reopening.objects.create(closing=last, reason=reason, by=by, at=clock.now())
    before = queries.standing()
    gate.open_from = gathering.month_after(before.month) if before else None
    gate.save(update_fields=["open_from"])
    record(by, "books.reopened", last, month=last.month, reason=reason)
    return row


@writes
def choose_account(*, by: Person, purpose: str, number: str, name: str, tax: str = "") -> AccountChoice:
    """From now on this account stands for `purpose`. `tax` (VAT category and rate, such as "S 23"): only at that rate, for
    purposes that are told by rate. Closed months keep the accounts they were closed with. Raises BadInput."""
    if purpose not in BY_KEY:
        raise field_error("purpose", "Choose one of: " + ", ".join(BY_KEY) + ".", code="unknown-purpose")
    number = clean_line(number, field="number", required=True, max_length=20)
    name = clean_line(name, field="name", required=True, max_length=80)
    tax = clean_line(tax, field="tax", max_length=12)
    if tax and not BY_KEY[purpose].by_rate:
        raise field_error(
            "tax", "This account is the same at every VAT rate. Leave the rate empty.", code="not-by-rate"
        )
    if tax and not _TAX.fullmatch(tax):
        raise field_error("tax", "Write the VAT category and rate, such as S 23.", code="bad-rate")
    row = AccountChoice.objects.create(purpose=purpose, tax=tax, number=number, name=name, by=by, at=clock.now())
    record(by, "books.account-chosen", row, purpose=purpose, tax=tax, number=number, name=name)
    return row
