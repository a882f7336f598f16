"""The entries of a span of days, read from the rows of the rooms below, by page.

A source is one kind of row with the index of its own on the day or moment it is posted at. A page takes the next few of each
and then the first of all, so it costs the same in the first month and in the hundredth.
"""

from __future__ import annotations

import base64
import binascii
import heapq
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from operator import itemgetter
from typing import Any

from django.db.models import F, Prefetch, Q, QuerySet
from django.utils import timezone

from inventory.buying.models import SupplierInvoice, SupplierInvoiceLine
from jobs.cards.models import JobCard
from jobs.estimates.models import LineKind
from jobs.invoices import sales
from jobs.invoices.models import Allocation, CoreReturn, Invoice, InvoiceLine, Payment
from jobs.sublet import queries as sublet
from jobs.sublet.models import SubletBill
from shop.business.queries import currency
from shop.kernel.errors import BadInput
from shop.kernel.rounding import round_money

from . import journal, moved
from .journal import Entry, Rate

ZERO = Decimal(0)
CHUNK, FEW = 1000, 250  # rows of a kind that are read at once
Key = tuple[datetime, int, int]  # moment, source, id


def begins(day: date) -> datetime:
    """The moment a day begins in the shop's time zone."""
    return timezone.make_aware(datetime.combine(day, time.min))


def month_after(month: date) -> date:
    return (month.replace(day=1) + timedelta(days=32)).replace(day=1)


@dataclass(frozen=True, slots=True)
class Source:
    """`field` is the day (`dated`) or moment by which its rows are posted. `tell` makes entries of them, in their order."""

    rows: Callable[[], QuerySet[Any]]
    field: str
    dated: bool
    tell: Callable[[list[Any]], list[tuple[journal.Line, ...] | None]]
    head: Callable[[Any], tuple[str, str, str, tuple[str, int]]]  # document, what, currency, subject

    def moment(self, row: Any) -> datetime:
        value = getattr(row, self.field)
        return begins(value) if self.dated else value

    def some(self, rank: int, since: date, until: date, after: Key | None, most: int) -> list[tuple[Key, Any]]:
        """At most `most` rows posted from `since` and before `until`, after the key."""
        first, last = (since, until) if self.dated else (begins(since), begins(until))
        rows = self.rows().filter(**{f"{self.field}__gte": first, f"{self.field}__lt": last})
        if after is not None:
            rows = rows.filter(self._beyond(rank, *after))
        found = rows.order_by(self.field, "id")[:most]
        return [((self.moment(row), rank, row.pk), row) for row in found]

    def _beyond(self, rank: int, moment: datetime, at_rank: int, pk: int) -> Q:
        value: Any = moment
        whole = True
        if self.dated:
            value = timezone.localdate(moment)
            whole = begins(value) == moment
        if whole and rank > at_rank:
            return Q(**{f"{self.field}__gte": value})
        later = Q(**{f"{self.field}__gt": value})
        if whole and rank == at_rank:
            return Q(**{f"{self.field}__gte": value}) & (later | Q(**{self.field: value, "id__gt": pk}))
        return later


def _invoices() -> QuerySet[Any]:
    at_once = Allocation.objects.filter(credit_note__issued_at=F("at"))
    rows = Invoice.objects.filter(issued_at__isnull=False).select_related("customer", "credits")
    apart = InvoiceLine.objects.filter(Q(deducts__isnull=False) | Q(kind=LineKind.CORE))
    return rows.prefetch_related(
        Prefetch("settles", at_once, to_attr="at_once"), Prefetch("lines", apart, to_attr="apart")
    )


def _of_invoices(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    found: list[tuple[journal.Line, ...] | None] = []
    for row in rows:
        deposit = sales.of_deposit(row)
        taken: dict[str, Decimal] = {}
        cores: dict[str, Decimal] = {}
        for x in row.apart:
            tax = _tax(x.tax_category, x.tax_percent)
            if x.deducts_id:
                taken[tax] = taken.get(tax, ZERO) - x.net
            elif not deposit:
                cores[tax] = cores.get(tax, ZERO) + x.net
        charged = {_tax(g["category"], g["percent"]): (Decimal(g["base"]), Decimal(g["tax"])) for g in row.tax_groups}
        rates = [
            Rate(tax, *charged.get(tax, (ZERO, ZERO)), taken.get(tax, ZERO), cores.get(tax, ZERO))
            for tax in dict.fromkeys([*charged, *taken])
        ]
        if row.kind == Invoice.Kind.CREDIT:
            settled = sum((a.amount for a in row.at_once), ZERO)
            found.append(journal.credited(rates, row.rounding, settled, deposit=deposit))
        else:
            found.append(journal.sale(rates, row.rounding, deposit=deposit))
    return found


def _tax(category: str, percent: Any) -> str:
    return f"{category} {Decimal(percent).normalize():f}"


def _head_of_invoice(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    return row.number, f"{row.get_kind_display()}, {row.customer.name}", row.currency, ("invoice", row.pk)


def _payments() -> QuerySet[Any]:
    at_once = Allocation.objects.filter(payment__at=F("at"))
    return Payment.objects.select_related("customer").prefetch_related(
        Prefetch("allocations", at_once, to_attr="at_once")
    )


def _of_payments(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    return [journal.paid(x.amount, x.method, sum((a.amount for a in x.at_once), ZERO)) for x in rows]


def _head_of_payment(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    kind = "Reversal" if row.reverses_id else "Payment" if row.amount > 0 else "Paid back"
    reference = f", {row.reference}" if row.reference else ""
    return f"P-{row.pk}", f"{kind}, {row.customer.name}{reference}", row.currency, ("payment", row.pk)


def _allocations() -> QuerySet[Any]:
    """Those made later than their payment or credit note; the others are part of it."""
    rows = Allocation.objects.select_related("invoice__customer", "payment", "credit_note")
    return rows.exclude(payment__isnull=False, payment__at=F("at")).exclude(
        credit_note__isnull=False, credit_note__issued_at=F("at")
    )


def _of_allocations(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    return [journal.set_against(x.amount) for x in rows]


def _head_of_allocation(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    source = f"P-{row.payment_id}" if row.payment_id else row.credit_note.number
    what = f"Credit set against {row.invoice.number}, {row.invoice.customer.name}"
    return source, what, row.invoice.currency, ("invoice", row.invoice_id)


def _cards() -> QuerySet[Any]:
    return JobCard.objects.select_related("customer").annotate(currency=currency())


def _invoiced() -> QuerySet[Any]:
    rows = _cards().filter(invoiced_at__isnull=False)
    return rows.exclude(cancelled_at__lt=F("invoiced_at"))


def _cancelled() -> QuerySet[Any]:
    rows = _cards().filter(cancelled_at__isnull=False)
    return rows.exclude(invoiced_at__lte=F("cancelled_at"))


def _unbilled() -> QuerySet[Any]:
    return _cards().filter(unbilled_at__isnull=False)


def _of_ends(field: str, to: str) -> Callable[[list[Any]], list[tuple[journal.Line, ...] | None]]:
    def tell(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
        if not rows:
            return []
        ids = [row.pk for row in rows]
        both = moved.costs_of_cards(ids), sublet.costs_of_cards(ids)
        return [
            journal.ended(
                sum((v for costs in both for at, v in costs.get(row.pk, ()) if at <= getattr(row, field)), ZERO),
                to,
                "unbilled-work" if row.unbilled_at and field != "unbilled_at" else "work-in-progress",
            )
            or None
            for row in rows
        ]

    return tell


def _head_of_card(word: str) -> Callable[[Any], tuple[str, str, str, tuple[str, int]]]:
    def head(row: Any) -> tuple[str, str, str, tuple[str, int]]:
        return row.number, f"Card {word}, {row.customer.name}", row.currency, ("card", row.pk)

    return head


def _bills() -> QuerySet[Any]:
    lines = SupplierInvoiceLine.objects.select_related("receipt_line__receipt")
    return (
        SupplierInvoice.objects.select_related("supplier")
        .prefetch_related(Prefetch("lines", lines))
        .annotate(own=currency())
    )


def _of_bills(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    """In the shop's currency, at the rate that the goods were received at: that is what they stand at in stock."""
    found: list[tuple[journal.Line, ...] | None] = []
    for row in rows:
        sign = -1 if row.credits_id else 1
        its = [(x.net, x.receipt_line.receipt.rate) for x in row.lines.all()]
        rate = its[0][1]
        net = sum((n * r for n, r in its), (row.total_net - sum((n for n, _ in its), ZERO)) * rate)
        found.append(journal.billed(sign * round_money(net, row.own), sign * round_money(row.tax * rate, row.own)))
    return found


def _head_of_bill(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    what = f"Supplier's {'credit note' if row.credits_id else 'invoice'}, {row.supplier.name}"
    if row.currency != row.own:
        what += f", {row.total_net + row.tax:f} {row.currency}"
    return row.number, what, row.own, ("bill", row.pk)


def _kept() -> QuerySet[Any]:
    rows = CoreReturn.objects.filter(outcome=CoreReturn.Outcome.KEPT)
    return rows.select_related("line__invoice__customer").annotate(currency=F("line__invoice__currency"))


def _of_kept(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    return [
        journal.core_kept(-x.amount if x.reverses_id else x.amount, _tax(x.line.tax_category, x.line.tax_percent))
        for x in rows
    ]


def _head_of_kept(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    word = "Keeping undone" if row.reverses_id else "Core deposit kept"
    return f"C-{row.pk}", f"{word}, {row.line.invoice.customer.name}", row.currency, ("invoice", row.line.invoice_id)


def _sent_out() -> QuerySet[Any]:
    return SubletBill.objects.select_related("supplier", "stage__card").annotate(currency=currency())


def _of_sent_out(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    return [journal.sent_out(x.net, x.tax, moved.stands(x.stage.card, x.at)) for x in rows]


def _head_of_sent_out(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    word = "Invoice taken back" if row.reverses_id else "Work sent out"
    return row.number, f"{word}, {row.supplier.name}, card {row.stage.card}", row.currency, ("sublet-bill", row.pk)


SOURCES = (
    Source(_invoices, "issued_on", True, _of_invoices, _head_of_invoice),
    Source(_payments, "received_on", True, _of_payments, _head_of_payment),
    Source(_allocations, "at", False, _of_allocations, _head_of_allocation),
    Source(_bills, "at", False, _of_bills, _head_of_bill),
    Source(moved.movements, "at", False, moved.of_movements, moved.head_of_movement),
    Source(_invoiced, "invoiced_at", False, _of_ends("invoiced_at", "cost-of-sales"), _head_of_card("invoiced")),
    Source(_unbilled, "unbilled_at", False, _of_ends("unbilled_at", "unbilled-work"), _head_of_card("closed without an invoice")),
    Source(_cancelled, "cancelled_at", False, _of_ends("cancelled_at", "cancelled-work"), _head_of_card("cancelled")),
    Source(_kept, "kept_on", True, _of_kept, _head_of_kept),
    Source(_sent_out, "at", False, _of_sent_out, _head_of_sent_out),
)  # fmt: skip


@dataclass(frozen=True)
class Page:
    """`next` is a cursor; None at the end."""

    items: list[Entry]
    next: str | None


def page(since: date, until: date, *, limit: int, cursor: str | None = None) -> Page:
    """Entries posted from `since` and before `until`, by day. Raises BadInput for a cursor that isn't ours."""
    found, after = _some(since, until, limit, _decoded(cursor) if cursor else None)
    return Page(found, _encoded(after) if after else None)


def sought(
    since: date, until: date, of: Callable[[Entry], Entry | None], *, limit: int, cursor: str | None = None
) -> Page:
    """The same, only what `of` makes of them. Reads on until so many are found. Raises BadInput as `page`."""
    found: list[Entry] = []
    last: Key | None = None
    for key, entry in _by_day(since, until, _decoded(cursor) if cursor else None, FEW):
        one = of(entry)
        if one is None:
            continue
        if last is not None and len(found) == limit:
            return Page(found, _encoded(last))
        found.append(one)
        last = key
    return Page(found, None)


def entries(since: date, until: date) -> Iterator[Entry]:
    """All of them by day, each source read once, in chunks."""
    for _key, entry in _by_day(since, until, None, CHUNK):
        yield entry


def _by_day(since: date, until: date, after: Key | None, chunk: int) -> Iterator[tuple[Key, Entry]]:
    each = (_told_by(rank, source, since, until, after, chunk) for rank, source in enumerate(SOURCES))
    return heapq.merge(*each, key=itemgetter(0))


def _told_by(
    rank: int, source: Source, since: date, until: date, after: Key | None, chunk: int
) -> Iterator[tuple[Key, Entry]]:
    while True:
        own = source.some(rank, since, until, after, chunk)
        yield from _told(source, own).items()
        if len(own) < chunk:
            return
        after = own[-1][0]


def _some(since: date, until: date, limit: int, after: Key | None) -> tuple[list[Entry], Key | None]:
    """The next `limit` rows as entries (a row that comes to nothing makes none), and the key of the last, if more follow."""
    rows: list[tuple[Key, Any]] = []
    for rank, source in enumerate(SOURCES):
        rows += source.some(rank, since, until, after, limit + 1)
    rows.sort(key=lambda one: one[0])
    chosen = rows[:limit]
    told: dict[Key, Entry] = {}
    for rank, source in enumerate(SOURCES):
        own = [(key, row) for key, row in chosen if key[1] == rank]
        if own:
            told |= _told(source, own)
    return [told[key] for key, _ in chosen if key in told], chosen[-1][0] if len(rows) > limit else None


def _told(source: Source, own: list[tuple[Key, Any]]) -> Mapping[Key, Entry]:
    """In the order of `own`; a row that comes to nothing makes no entry."""
    lines = source.tell([row for _, row in own])
    return {
        key: Entry(timezone.localdate(key[0]), *source.head(row), its)
        for (key, row), its in zip(own, lines, strict=True)
        if its
    }


def _encoded(key: Key) -> str:
    return base64.urlsafe_b64encode(json.dumps([key[0].isoformat(), *key[1:]]).encode()).decode().rstrip("=")


def _decoded(cursor: str) -> Key:
    try:
        moment, rank, pk = json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        key = (datetime.fromisoformat(moment), rank, pk)
        if key[0].tzinfo is None or type(rank) is not int or type(pk) is not int or not 0 <= pk < 2**63:
            raise ValueError
        begins(timezone.localdate(key[0]))
    except (ValueError, TypeError, OverflowError, binascii.Error, UnicodeDecodeError, RecursionError) as error:
        raise BadInput(
            "This cursor can't be used. Take `next` of a page with the same days.",
            fields={"cursor": ["not a cursor of this list"]},
        ) from error
    return key
