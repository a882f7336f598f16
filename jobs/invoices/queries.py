"""Reads of the invoices room. Paid, overdue and owed are never stored: they follow from the allocations."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import DecimalField, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from jobs.machines.models import Customer
from shop.kernel import clock
from shop.kernel.rounding import round_to
from shop.trail.models import TrailRow
from shop.trail.record import kind_of

from . import billing
from .models import OPEN, Allocation, Invoice, InvoiceLine, Payment
from .prepaid import taken_by_line

ZERO = Decimal(0)
AMOUNT = DecimalField(max_digits=20, decimal_places=4)
STATES = {
    "draft": ("Draft", "draft"),
    "issued": ("To be paid", "sent"),
    "part-paid": ("Paid in part", "doing"),
    "paid": ("Paid", "done"),
    "overdue": ("Overdue", "late"),
    "credited": ("Credited", "off"),
    "credit": ("Credit note", "open"),
    "charged-again": ("Discount charged again", "done"),
}


def _sum(rows: QuerySet[Any], key: str) -> Coalesce:
    """Sum of `amount` of the rows that name this invoice in `key`."""
    total = rows.filter(**{key: OuterRef("pk")}).order_by().values(key).annotate(s=Sum("amount")).values("s")
    return Coalesce(Subquery(total, output_field=AMOUNT), Value(ZERO), output_field=AMOUNT)


def _noted(key: str) -> Coalesce:
    """What issued notes that name this invoice in `key` come to."""
    notes = Invoice.objects.filter(issued_at__isnull=False, **{key: OuterRef("pk")}).order_by().values(key)
    total = notes.annotate(s=Sum(F("total_gross") + F("rounding"), output_field=AMOUNT)).values("s")
    return Coalesce(Subquery(total, output_field=AMOUNT), Value(ZERO), output_field=AMOUNT)


def _with_money(rows: QuerySet[Invoice]) -> QuerySet[Invoice]:
    given = Allocation.objects.all()
    return rows.annotate(
        paid=_sum(given.filter(payment__isnull=False), "invoice"),
        credited=_sum(given.filter(credit_note__isnull=False), "invoice"),
        used=_sum(given, "credit_note"),
        taken_back=_noted("credits") - _noted("counters__credits"),
        due=F("total_gross") + F("rounding"),
    )


def invoices(
    *,
    customer_id: int | None = None,
    card_id: int | None = None,
    kind: str = "",
    state: str = "",
    number: str = "",
    since: date | None = None,
) -> QuerySet[Invoice]:
    """Invoices and credit notes with what was paid. `state`: draft, open, overdue, settled. `number`: its start."""
    rows = _with_money(
        Invoice.objects.select_related(
            "customer", "card__machine", "credits", "counters__credits", "issued_by", "created_by"
        )
    )
    narrowed = {
        "draft": Q(issued_at__isnull=True),
        "open": OPEN,
        "overdue": OPEN & Q(due_on__lt=clock.today()),
        "settled": Q(settled_at__isnull=False),
    }
    if state:
        rows = rows.filter(narrowed[state])
    if customer_id is not None:
        rows = rows.filter(customer=customer_id)
    if card_id is not None:
        rows = rows.filter(card=card_id)
    if kind:
        rows = rows.filter(kind=kind)
    if number:
        rows = rows.filter(number__istartswith=number)
    if since is not None:
        rows = rows.filter(issued_on__gte=since)
    return rows


def invoice(pk: int) -> Invoice | None:
    return invoices().filter(pk=pk).first()


def exact(amount: Decimal | None) -> Decimal:
    """A sum the database made, at 4 decimals: SQLite adds in binary, whose far digits are noise."""
    return round_to(amount or ZERO, 4)


def with_money(row: Invoice) -> Any:
    """The row with `paid`, `credited`, `used`, `taken_back`, `due`; asked for when it has none."""
    if hasattr(row, "paid"):
        return row
    found = _with_money(Invoice.objects.filter(pk=row.pk)).values("paid", "credited", "used", "taken_back", "due").get()
    for name, value in found.items():
        setattr(row, name, value)
    return row


def outstanding(row: Invoice) -> Decimal:
    """Still to pay on an issued invoice; for a credit note what of it is not yet used up (below zero: owed to the
    customer)."""
    known = with_money(row)
    if row.issued_at is None:
        return ZERO
    if row.kind == Invoice.Kind.CREDIT:
        return exact(known.used - known.due)
    return exact(known.due - known.paid - known.credited)


def state_of(row: Invoice) -> str:
    """A key of STATES."""
    if row.kind == Invoice.Kind.DEBIT and row.issued_at:
        return "charged-again"
    known = with_money(row)
    return billing.state(
        issued=row.issued_at is not None,
        credit=row.kind == Invoice.Kind.CREDIT,
        due=exact(known.due),
        paid=exact(known.paid),
        credited=exact(known.credited),
        taken_back=exact(known.taken_back),
        overdue=row.due_on is not None and row.due_on < clock.today(),
    )


def lines(*, invoice_id: int) -> QuerySet[InvoiceLine]:
    return InvoiceLine.objects.filter(invoice=invoice_id).select_related(
        "invoice", "stage", "part", "estimate_line__estimate"
    )


def line(pk: int) -> InvoiceLine | None:
    return InvoiceLine.objects.select_related("invoice", "stage", "part").filter(pk=pk).first()


def payments(*, customer_id: int | None = None, invoice_id: int | None = None) -> QuerySet[Payment]:
    """Payments with how much of each is allocated."""
    shares = Allocation.objects.filter(payment=OuterRef("pk")).order_by().values("payment")
    rows = Payment.objects.select_related("customer", "by").annotate(
        allocated=Coalesce(Subquery(shares.annotate(s=Sum("amount")).values("s")), Value(ZERO), output_field=AMOUNT),
        left=F("amount") - F("allocated"),
        reversed=Exists(Payment.objects.filter(reverses=OuterRef("pk"))),
    )
    if customer_id is not None:
        rows = rows.filter(customer=customer_id)
    if invoice_id is not None:
        rows = rows.filter(
            pk__in=Allocation.objects.filter(invoice=invoice_id, payment__isnull=False).values("payment")
        )
    return rows


def payment(pk: int) -> Payment | None:
    return payments().filter(pk=pk).first()


def unused(source: Payment | Invoice) -> Decimal:
    """What of a payment or credit note settles nothing yet and has not gone back to the customer: what can still be set
    against an invoice. 0 for what was reversed, for a reversal and for money paid back."""
    if isinstance(source, Invoice):
        own, customer_id = -outstanding(source), source.customer_id
    else:
        if source.amount <= 0 or Payment.objects.filter(reverses=source).exists():
            return ZERO
        used = Allocation.objects.filter(payment=source).aggregate(s=Sum("amount"))["s"]
        own, customer_id = source.amount - exact(used), source.customer_id
    return usable(own, free_credit(customer_id))


def usable(own: Decimal, free: Decimal) -> Decimal:
    """`own`: what of a payment or credit note settles nothing; `free`: what stands to the customer's credit in all, less than
    that once money went back."""
    return max(ZERO, min(own, free))


def allocations(*, invoice_id: int | None = None, payment_id: int | None = None) -> QuerySet[Allocation]:
    rows = Allocation.objects.select_related("invoice", "payment", "credit_note")
    if invoice_id is not None:
        rows = rows.filter(invoice=invoice_id)
    if payment_id is not None:
        rows = rows.filter(payment=payment_id)
    return rows


@dataclass(frozen=True)
class Balance:
    """What a customer owes: `owed` on open invoices, `credit` paid or credited and not allocated, `overdue` of the owed."""

    owed: Decimal
    overdue: Decimal
    credit: Decimal

    @property
    def balance(self) -> Decimal:
        """Above zero: the customer owes; below: we do."""
        return self.owed - self.credit


def balance(customer_id: int) -> Balance:
    """From the issued documents and the payments of one customer."""
    owed = overdue = ZERO
    today = clock.today()
    for row in invoices(customer_id=customer_id).filter(OPEN):
        left = outstanding(row)
        owed += left
        if row.due_on and row.due_on < today:
            overdue += left
    return Balance(owed, overdue, free_credit(customer_id))


def free_credit(customer_id: int) -> Decimal:
    """What was paid or credited and settles nothing yet."""
    paid = Payment.objects.filter(customer=customer_id).aggregate(s=Sum("amount"))["s"]
    used = Allocation.objects.filter(payment__customer=customer_id).aggregate(s=Sum("amount"))["s"]
    notes = Invoice.objects.filter(customer=customer_id, kind=Invoice.Kind.CREDIT, issued_at__isnull=False)
    credited = notes.aggregate(s=Sum(F("total_gross") + F("rounding"), output_field=AMOUNT))["s"]
    taken = Allocation.objects.filter(credit_note__customer=customer_id).aggregate(s=Sum("amount"))["s"]
    return exact(paid) - exact(used) + exact(credited) - exact(taken)


def credit_stands_since(customer_id: int, amount: Decimal) -> date | None:
    """The first day from which so much stood to a customer's credit at the end of each day until now; None when it doesn't.
    Each row counts on its day in the books: an allocation of now is of now, one made with its source is of that day."""
    changes: dict[date, Decimal] = defaultdict(Decimal)
    for day, paid in Payment.objects.filter(customer=customer_id).values_list("received_on", "amount"):
        changes[day] += paid
    notes = Invoice.objects.filter(customer=customer_id, kind=Invoice.Kind.CREDIT, issued_on__isnull=False)
    for issued, gross, rounding in notes.values_list("issued_on", "total_gross", "rounding"):
        changes[issued or date.min] += gross + rounding
    theirs = Q(payment__customer=customer_id) | Q(credit_note__customer=customer_id)
    for row in Allocation.objects.filter(theirs).select_related("payment", "credit_note"):
        day, at = timezone.localdate(row.at), row.at
        if row.payment and row.payment.at == at:
            day = row.payment.received_on
        elif row.credit_note and row.credit_note.issued_at == at:
            day = row.credit_note.issued_on or day
        changes[day] -= row.amount
    left, since = sum(changes.values(), ZERO), None
    for day in sorted(changes, reverse=True):
        if left < amount:
            break
        since, left = day, left - changes[day]
    return since


def free_credits() -> dict[int, Decimal]:
    """The same by customer, of all for whom it is not nothing: adds up all there ever was, so only to check what is kept."""
    notes = Invoice.objects.filter(kind=Invoice.Kind.CREDIT, issued_at__isnull=False)
    gross = Sum(F("total_gross") + F("rounding"), output_field=AMOUNT)
    sums: tuple[tuple[int, QuerySet[Any], str, Any], ...] = (
        (1, Payment.objects.all(), "customer", Sum("amount")),
        (-1, Allocation.objects.filter(payment__isnull=False), "payment__customer", Sum("amount")),
        (1, notes, "customer", gross),
        (-1, Allocation.objects.filter(credit_note__isnull=False), "credit_note__customer", Sum("amount")),
    )
    found: dict[int, Decimal] = defaultdict(Decimal)
    for sign, rows, key, total in sums:
        for pk, amount in rows.order_by().values_list(key).annotate(s=total):
            found[pk] += sign * exact(amount)
    return {pk: amount for pk, amount in found.items() if amount}


def owing_customers() -> QuerySet[Customer]:
    """Customers with something open."""
    return Customer.objects.filter(pk__in=Invoice.objects.filter(OPEN).values("customer"))


@dataclass(frozen=True)
class Billed:
    """What of a card stands on issued invoices, less what was credited. A core deposit that was paid back for the old part
    counts as billed all the same."""

    estimate_lines: frozenset[int]
    hours: dict[int, Decimal]  # by stage
    parts: dict[tuple[int | None, int], Decimal]  # by stage and part
    by_line: dict[int, Decimal]  # quantity, by line of an estimate
    charges: dict[
        tuple[int | None, int], Decimal
    ]  # quantity of what the catalogue charges beside parts, by stage and charge
    classes: dict[tuple[int, str], Decimal]  # hours that were on no estimate, by stage and class of who booked them


def billed(card_id: int) -> Billed:
    rows = InvoiceLine.objects.filter(invoice__card=card_id, invoice__issued_at__isnull=False)
    taken_back: dict[int, Decimal] = defaultdict(Decimal)
    undone = rows.filter(credits_line__isnull=False, invoice__core_return__isnull=True)
    for pk, quantity in undone.values_list("credits_line_id", "quantity"):
        taken_back[pk] += quantity
    named: set[int] = set()
    hours: dict[int, Decimal] = defaultdict(Decimal)
    parts: dict[tuple[int | None, int], Decimal] = defaultdict(Decimal)
    by_line: dict[int, Decimal] = defaultdict(Decimal)
    charges: dict[tuple[int | None, int], Decimal] = defaultdict(Decimal)
    charged = rows.filter(credits_line__isnull=True).values_list(
        "pk", "kind", "quantity", "stage_id", "part_id", "estimate_line_id", "basis__charge_id", "basis__classes"
    )
    classes: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    for pk, kind, quantity, stage, part, estimate_line, charge, split in charged:
        left = quantity - taken_back[pk]
        if left <= 0:
            continue
        if estimate_line:
            named.add(estimate_line)
            by_line[estimate_line] += left
        if charge:
            charges[stage, charge] += left
        if kind == "labour" and stage:
            hours[stage] += left
            for name, share in shares_of(split or {}, left).items():
                classes[stage, name] += share
        if kind == "part" and part:
            parts[stage, part] += left
    return Billed(frozenset(named), dict(hours), dict(parts), dict(by_line), dict(charges), dict(classes))


def shares_of(classes: Mapping[str, str], left: Decimal) -> dict[str, Decimal]:
    """What is left of a line of hours, over the classes that booked them."""
    whole = sum((Decimal(q) for q in classes.values()), ZERO)
    return {name: round_to(Decimal(q) * left / whole, 6) for name, q in classes.items()} if whole else {}


@dataclass(frozen=True)
class LeftOutPage:
    items: list[billing.LeftOut]


def left_out_page(invoice_id: int) -> LeftOutPage | None:
    """What a draft for a card leaves out and why, but for what an owner put on it. Empty once it is issued."""
    from .gathering import job  # asks this module what was billed

    row = Invoice.objects.select_related("card").filter(pk=invoice_id).first()
    if row is None:
        return None
    if row.card is None or row.issued_at or row.kind == Invoice.Kind.DEPOSIT:
        return LeftOutPage([])
    own = list(InvoiceLine.objects.filter(invoice=row))
    done = job(row.card)
    return LeftOutPage([replace(x, unit=done.unit(x)) for x in done.result.left_out if not done.is_charged(x, own)])


def credited_so_far(invoice_id: int) -> dict[int, tuple[Decimal, Decimal]]:
    """(quantity, net) credited already, by line of the invoice."""
    own = list(InvoiceLine.objects.filter(invoice=invoice_id).values_list("pk", flat=True))
    rows = (
        InvoiceLine.objects.filter(credits_line__in=own, invoice__issued_at__isnull=False)
        .order_by()
        .values_list("credits_line")
        .annotate(q=Sum("quantity"), n=Sum("net"))
    )
    return {pk: (round_to(q, 6), exact(n)) for pk, q, n in rows}


def creditable(invoice: Invoice, rows: Iterable[InvoiceLine]) -> dict[int, tuple[Decimal, Decimal]]:
    """(quantity, net) of each line that can still be credited. What of a deposit was taken off an invoice can't be."""
    gone = [credited_so_far(invoice.pk)]
    if invoice.kind == Invoice.Kind.DEPOSIT:
        gone.append(taken_by_line(invoice))
    nil = (ZERO, ZERO)
    return {
        x.pk: (x.quantity - sum((g.get(x.pk, nil)[0] for g in gone), ZERO), x.net - sum((g.get(x.pk, nil)[1] for g in gone), ZERO))
        for x in rows
    }  # fmt: skip


def history(invoice: Invoice) -> QuerySet[TrailRow]:
    line_ids = InvoiceLine.objects.filter(invoice=invoice).values("pk")
    return (
        TrailRow.objects.filter(
            Q(subject=kind_of(Invoice), subject_id=invoice.pk)
            | Q(subject=kind_of(InvoiceLine), subject_id__in=line_ids)
        )
        .select_related("by")
        .order_by("-id")
    )
