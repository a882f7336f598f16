"""What issued documents sold, before tax: the rule that the journal posts sales by, for whoever adds documents up.

A deposit is no sale, nor is what credits it: the final invoice that takes it off turns it into one. So deposit invoices and
their credit notes count nothing, and what a final invoice took off for deposits counts again; a credit note's less.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import F, Q, QuerySet

from jobs.estimates.models import LineKind
from jobs.estimates.pricing import takes_discount
from shop.kernel.rounding import EXACT, round_money
from shop.kernel.totals import percent_of

from .models import Invoice, InvoiceLine

ZERO = Decimal(0)
DEPOSIT = Invoice.Kind.DEPOSIT
EARLY = Q(kind=Invoice.Kind.CREDIT, early_percent__gt=0)  # credit notes that give a discount for early payment
Rate = tuple[str, Decimal]  # VAT category and percent


def of_deposit(invoice: Invoice) -> bool:
    """Whether it is a deposit invoice or credits one."""
    return (invoice.credits or invoice).kind == DEPOSIT


def selling(documents: QuerySet[Invoice]) -> QuerySet[Invoice]:
    """Those of them that charge or credit what was sold."""
    return documents.exclude(Q(kind=DEPOSIT) | Q(credits__isnull=False, credits__kind=DEPOSIT))


def lines(documents: QuerySet[Invoice]) -> QuerySet[InvoiceLine]:
    """Lines of these documents that say what was sold; `sign(invoice__kind)` is theirs."""
    return InvoiceLine.objects.filter(invoice__in=selling(documents), deducts__isnull=True)


def sign(kind: str) -> int:
    """-1 for a credit note, whose amounts are above zero."""
    return -1 if kind == Invoice.Kind.CREDIT else 1


def by_card(documents: QuerySet[Invoice]) -> dict[int, Decimal]:
    """What these documents sold, by card."""
    sold = selling(documents).filter(card__isnull=False).order_by()
    found: dict[int, Decimal] = defaultdict(Decimal)
    for card, kind, net in sold.values_list("card", "kind", "total_net"):
        found[card or 0] += sign(kind) * net
    taken = InvoiceLine.objects.filter(invoice__in=sold, deducts__isnull=False).order_by()
    for card, kind, net in taken.values_list("invoice__card", "invoice__kind", "net"):
        found[card or 0] -= sign(kind) * net
    return dict(found)


@dataclass(slots=True)
class _Sums:
    """Nets of a document's lines at one rate."""

    labour: Decimal = ZERO
    takes: Decimal = ZERO  # what takes the discount, labour in it
    whole: Decimal = ZERO  # what doesn't

    def add(self, line: InvoiceLine) -> None:
        if line.kind == LineKind.LABOUR:
            self.labour += line.net
        if takes_discount(line):
            self.takes += line.net
        else:
            self.whole += line.net

    def labours(self, off: Decimal, invoice: Invoice) -> Decimal:
        """Labour's share of what is off. A credit note after early payment takes it off core deposits, too: what is more than
        its discount on the other lines."""
        if self.whole:
            off = min(off, percent_of(self.takes, invoice.discount_percent, invoice.currency))
        return _share(off, self.labour, self.takes, invoice.currency)


def off_labour(documents: QuerySet[Invoice]) -> dict[int, Decimal]:
    """What is taken off labour lines with their documents as a whole, by card; of a credit note below zero. `documents`: all
    that were issued of their cards. In three queries.

    Of a discount on a document labour has a share by VAT rate, as its lines have of those that take the discount. Of one for
    early payment, and of what charges it again, it has the share that it has in what the invoice sold at that rate. Each share
    is rounded once.
    """
    sold = selling(documents).filter(card__isnull=False).order_by()
    notes = sold.filter(EARLY | Q(kind=Invoice.Kind.DEBIT))
    rows = sold.filter(~Q(sum_net=F("total_net")) | Q(pk__in=sold.filter(EARLY).values("credits")))
    sums: dict[tuple[int, Rate], _Sums] = defaultdict(_Sums)
    its = InvoiceLine.objects.filter(invoice__in=rows, deducts__isnull=True).order_by()
    for line in its.only("invoice", "tax_category", "tax_percent", "kind", "net"):
        sums[line.invoice_id, (line.tax_category, line.tax_percent)].add(line)
    found: dict[int, Decimal] = defaultdict(Decimal)
    part: dict[tuple[int, Rate], tuple[Decimal, Decimal]] = {}  # labour and all that was sold, after the discount
    for row in rows.only("card", "kind", "currency", "discount_percent", "tax_groups"):
        for rate, g in _rates(row):
            its_sums, off = sums[row.pk, rate], Decimal(g["discount"])
            share = its_sums.labours(off, row)
            part[row.pk, rate] = its_sums.labour - share, its_sums.takes + its_sums.whole - off
            found[row.card_id or 0] += sign(row.kind) * share
    for note in notes.select_related("counters"):
        given = note.counters or note
        for rate, g in _rates(note):
            labour, whole = part.get((given.credits_id or 0, rate), (ZERO, ZERO))
            share = _share(Decimal(g["base"]), labour, whole, note.currency)
            found[note.card_id or 0] -= sign(note.kind) * share
    return dict(found)


def _rates(invoice: Invoice) -> list[tuple[Rate, dict[str, str]]]:
    return [((g["category"], Decimal(g["percent"])), g) for g in invoice.tax_groups]


def _share(amount: Decimal, part: Decimal, whole: Decimal, currency: str) -> Decimal:
    return round_money(EXACT.divide(EXACT.multiply(amount, part), whole), currency) if whole > 0 else ZERO
