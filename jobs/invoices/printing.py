"""An invoice or credit note as a PDF, from its rows alone, so that an issued one always comes out the same."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

from django.utils import timezone

from jobs.estimates.models import Estimate
from jobs.estimates.printing import KINDS as ESTIMATES
from jobs.estimates.printing import (
    allowances,
    business_of,
    example,
    machine_of,
    party_of,
    sections,
    states_now,
    totals_of,
    vat_rows,
    words,
    writer,
)
from shop.documents import shapes
from shop.documents.typesetting import typeset

from . import einvoice
from .models import Invoice, InvoiceLine
from .terms import early_discount

TERMS = {
    "en": "Payable without deduction. Please name the reference with your payment.",
    "de": "Zahlbar ohne Abzug. Bitte geben Sie bei der Zahlung die Referenz an.",
}
EARLY = {
    "en": "{percent} % discount, {off} {currency}, if paid by {day}: then {due} {currency} is to pay. A credit note over the "
    "discount and its VAT follows the payment. Otherwise payable in full by the due day.",
    "de": "{percent} % Skonto, {off} {currency}, bei Zahlung bis {day}: dann sind {due} {currency} zu zahlen. Über Skonto und "
    "Steuer folgt der Zahlung eine Rechnungskorrektur. Sonst zahlbar ohne Abzug bis zum Fälligkeitstag.",
}
PAID = {"en": "Nothing is left to pay on this invoice.", "de": "Auf diese Rechnung ist nichts mehr zu zahlen."}
TAKES_BACK = {
    "en": "Nothing is to pay on this debit note: credit note {note} settles it. Of invoice {invoice} as much more is owed again.",
    "de": "Auf diese Belastung ist nichts zu zahlen: die Rechnungskorrektur {note} gleicht sie aus. Auf Rechnung {invoice} ist der "
    "Betrag wieder offen.",
}
REASON = {"en": "Reason: {reason}", "de": "Grund: {reason}"}
WHOLE = {
    "en": "The deposit invoices named are taken off with the VAT they charged; VAT here is that on the rest.",
    "de": "Die genannten Anzahlungsrechnungen sind samt der darin berechneten Steuer abgesetzt; die Steuer hier ist die auf "
    "den Rest.",
}
TAKEN = {"en": "Deposits taken off", "de": "Abzüglich Anzahlungen"}
DEPOSIT = {
    "en": ("Deposit invoice {number} of {on}", "It charged {net} without VAT and {tax} VAT at {rate} %."),
    "de": ("Anzahlungsrechnung {number} vom {on}", "Darin berechnet: netto {net}, {rate} % USt {tax}."),
}
KINDS: dict[str, Literal["invoice", "deposit_invoice", "credit_note", "debit_note"]] = {
    "invoice": "invoice",
    "deposit": "deposit_invoice",
    "credit": "credit_note",
    "debit": "debit_note",
}


def pdf(invoice: Invoice) -> bytes:
    """The document; marked DRAFT until it is issued, then with the electronic invoice inside (PDF/A-3). Raises what
    `typeset` raises."""
    moment = invoice.issued_at or invoice.created_at
    kind, shaped = KINDS[invoice.kind], shape(invoice)
    if not einvoice.possible(invoice):
        return typeset(kind, shaped, language=invoice.language, timestamp=moment)
    return einvoice.hybrid(typeset(kind, shaped, language=invoice.language, timestamp=moment, standard="a-3b"), invoice)


def file_name(invoice: Invoice) -> str:
    return f"{invoice.number}.pdf" if invoice.issued_at else f"draft-{invoice.pk}.pdf"


def shape(invoice: Invoice) -> shapes.Invoice:
    lines = list(invoice.lines.select_related("estimate_line", "deducts"))
    live = states_now(invoice, invoice.card, invoice.customer)
    seller = live["seller"]
    credit = invoice.kind == Invoice.Kind.CREDIT
    countered = invoice.counters
    paid = not invoice.total_gross + invoice.rounding
    nothing = bool(credit or countered or paid)
    amends = countered.credits if countered else invoice.credits
    named = {x.estimate_line.estimate_id for x in lines if x.estimate_line}
    agreed = Estimate.objects.filter(pk__in=named).order_by("id").first() if named and not credit else None
    lang = invoice.language if invoice.language in TERMS else "en"
    categories = {g["category"] for g in invoice.tax_groups}
    return shapes.Invoice(
        kind=KINDS[invoice.kind],
        number=invoice.number or words(invoice.language)["draft"],
        date=invoice.issued_on or timezone.localdate(invoice.created_at),
        currency=invoice.currency,
        business=business_of(seller, invoice.language),
        customer=party_of(live["buyer"], seller, invoice.language),
        sections=sections([x for x in lines if not x.deducts_id], writer(invoice), headed=not invoice.states_sums)
        + taken_off(invoice, lines),
        vat=vat_rows(invoice),
        totals=totals_of(invoice),
        allowances=allowances(invoice, lines),
        supplied_on=invoice.supplied_on,
        statutory=shapes.Statutory(reverse_charge="AE" in categories),
        corrects=shapes.Reference(amends.number, amends.issued_on) if amends else None,
        estimate=shapes.Reference(agreed.number, agreed.issued_on) if agreed else None,
        estimate_kind=ESTIMATES[agreed.kind] if agreed else "estimate",
        card_number=live["subject"].get("card", ""),
        contact=seller.get("contact", ""),
        machine=machine_of(live["subject"]),
        due_date=None if nothing else invoice.due_on,
        payment_terms="" if nothing else terms_of(invoice),
        payment_reference="" if nothing else invoice.number,
        notes=tuple(
            x
            for x in (
                REASON[lang].format(reason=invoice.reason) if credit else "",
                TAKES_BACK[lang].format(note=countered.number, invoice=countered.credits.number)
                if countered and countered.credits
                else "",
                WHOLE[lang] if not credit and any(x.deducts_id for x in lines) else "",
                PAID[lang] if paid and not credit else "",
                invoice.note,
                seller.get("note", ""),
            )
            if x
        ),
        cautions=example(seller, invoice.language),
        mark="" if invoice.issued_at else "draft",
    )


def terms_of(invoice: Invoice) -> str:
    lang = invoice.language if invoice.language in TERMS else "en"
    if invoice.early_until is None:
        return TERMS[lang]
    write = writer(invoice)
    due = invoice.total_gross + invoice.rounding
    off = early_discount(due, invoice.early_percent, invoice.currency)
    return EARLY[lang].format(
        percent=write.percent(invoice.early_percent), off=write.money(off), due=write.money(due - off),
        currency=invoice.currency, day=write.day(invoice.early_until),
    )  # fmt: skip


def taken_off(invoice: Invoice, lines: Sequence[InvoiceLine]) -> tuple[shapes.Section, ...]:
    """The deposits, each with its net and VAT."""
    taken = [(x, x.deducts) for x in lines if x.deducts]
    if not taken:
        return ()
    lang = invoice.language if invoice.language in TERMS else "en"
    write = writer(invoice)
    rows = tuple(
        shapes.Line(
            text=DEPOSIT[lang][0].format(
                number=deposit.number, on=write.short_day(deposit.issued_on or invoice.created_at)
            ),
            detail=DEPOSIT[lang][1].format(
                net=write.money(-x.net), rate=write.percent(x.tax_percent), tax=write.money(Decimal(x.basis["tax"]))
            ),
            net=x.net,
            vat_rate=x.tax_percent,
        )
        for x, deposit in taken
    )
    return (shapes.Section(title=TAKEN[lang], lines=rows, net=sum((x.net for x, _ in taken), Decimal(0))),)
