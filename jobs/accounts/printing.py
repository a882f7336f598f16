"""Letters and statements as PDF."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from jobs.estimates import parties
from jobs.estimates.printing import business_of, party_of, said
from shop.business import queries as business
from shop.documents import shapes
from shop.documents.formatting import Formatter
from shop.documents.typesetting import typeset
from shop.kernel import clock

from .dunning import BANDS, Span
from .models import Reminder, ReminderLine
from .queries import Aged, Statement, ages_at, spans_of

CAUTION = {
    "en": "Terms, fees and interest in this invented example are illustrative; what may be asked for differs by country.",
    "de": "Fristen, Gebühren und Zinsen in diesem erfundenen Beispiel sind nur Beispiele; was verlangt werden darf, ist von "
    "Land zu Land verschieden.",
}
WORDS = {
    "en": {
        "invoice": "Invoice", "deposit": "Deposit invoice", "credit": "Credit note", "debit": "Debit note", "payment": "Payment, thank you",
        "refund": "Paid back", "reversal": "Payment reversed", "rounding": "Rounding of cash",
    },
    "de": {
        "invoice": "Rechnung", "deposit": "Anzahlungsrechnung", "credit": "Rechnungskorrektur", "debit": "Belastung", "payment": "Zahlung, vielen Dank",
        "refund": "Rückzahlung", "reversal": "Zahlung storniert", "rounding": "Rundung von Bargeld",
    },
}  # fmt: skip
AGES = {
    "en": ("not yet due", "1 to 30 days late", "31 to 60 days late", "61 to 90 days late", "more than 90 days late"),
    "de": ("noch nicht fällig", "1 bis 30 Tage", "31 bis 60 Tage", "61 bis 90 Tage", "über 90 Tage"),
}

COUNTED = {
    "en": ("Interest on {number}: {parts}.", "{amount} for {days} {word} at {percent}% a year", ("day", "days")),
    "de": ("Zinsen auf {number}: {parts}.", "{amount} für {days} {word} zu {percent} % im Jahr", ("Tag", "Tage")),
}
CREDIT = {"en": "to your credit", "de": "Ihr Guthaben"}


def letter(row: Reminder) -> bytes:
    """The letter, always the same from its rows."""
    lines = list(row.lines.select_related("invoice").order_by("invoice__due_on", "invoice_id"))
    counted = spans_of(row, [x for x in lines if x.interest])
    rates = {pk: parts[0].percent for pk, parts in counted.items() if len(parts) == 1}
    shape = shapes.Reminder(
        level=row.level, number=row.number, date=row.issued_on, currency=row.currency,
        business=business_of(row.seller, row.language), customer=party_of(row.buyer, row.seller, row.language),
        invoices=tuple(
            shapes.OpenInvoice(
                number=x.invoice.number, date=x.invoice.issued_on or row.issued_on, due_date=x.invoice.due_on or row.issued_on,
                gross=x.invoice.total_gross + x.invoice.rounding,
                paid=x.invoice.total_gross + x.invoice.rounding - x.open, open=x.open, days_late=x.days_late,
                interest=x.interest or None, interest_rate=rates.get(x.invoice_id),
                level=x.level if x.level < row.level else None,
            )
            for x in lines
        ),
        open_total=row.open_total, total=row.open_total + row.interest + row.fee, pay_by=row.pay_by,
        interest_total=row.interest or None, fee=row.fee or None, contact=row.seller.get("contact", ""),
        payment_reference=row.number,
        notes=(*_counted(row, lines, counted), *((said(CAUTION, row.language),) if row.seller["is_sample"] else ())),
    )  # fmt: skip
    return typeset("reminder", shape, language=row.language, timestamp=row.issued_at)


def _counted(row: Reminder, lines: Iterable[ReminderLine], counted: Mapping[int, list[Span]]) -> Iterator[str]:
    """How interest came about where what was open, or the percentage, changed meanwhile."""
    form, (whole, part, day) = Formatter(row.language, row.currency), COUNTED.get(row.language, COUNTED["en"])
    for x in lines:
        parts = counted.get(x.invoice_id, [])
        if len(parts) > 1:
            told = ", ".join(
                part.format(
                    amount=form.money(p.amount), percent=form.percent(p.percent), days=p.days, word=day[p.days != 1]
                )
                for p in parts
            )
            yield whole.format(number=x.invoice.number, parts=told)


def statement(found: Statement) -> bytes:
    """The statement of an account, with what was open at its end by age; that less what stood to the customer's credit is the
    closing balance."""
    profile, language = business.profile(), parties.language_of(found.customer)
    seller, words = parties.seller(profile), WORDS.get(language, WORDS["en"])
    mine = ages_at(found.customer, min(found.until, clock.today()))
    shape = shapes.Statement(
        date=clock.today(), currency=found.currency, business=business_of(seller, language),
        customer=party_of(parties.buyer(found.customer), seller, language), period_from=found.since, period_to=found.until,
        opening=found.opening, closing=found.closing,
        entries=tuple(
            shapes.AccountEntry(
                date=e.on, text=words[e.what], number=e.number, balance=balance,
                debit=e.amount if e.amount > 0 else None, credit=-e.amount if e.amount <= 0 else None,
            )
            for e, balance in found.entries
        ),
        ages=bands(mine, language),
        notes=(said(CAUTION, language),) if seller["is_sample"] else (),
    )  # fmt: skip
    return typeset("statement", shape, language=language, timestamp=clock.now())


def bands(mine: Aged, language: str) -> tuple[shapes.AgeBand, ...]:
    """What is open by age, and what stands to their credit below zero: together the balance."""
    labels = AGES.get(language, AGES["en"])
    found = [shapes.AgeBand(labels[n], mine.bands[n]) for n in range(len(BANDS) + 1) if mine.bands[n]]
    if mine.credit:
        found.append(shapes.AgeBand(said(CREDIT, language), -mine.credit))
    return tuple(found)
