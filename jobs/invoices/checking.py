"""Whether the money documents still say what their lines, numbers and payments say."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from django.db.models import Sum

from jobs.estimates import pricing
from shop.kernel.errors import BadInput
from shop.kernel.rounding import EXACT

from . import figures, prepaid, queries, standing
from .models import Allocation, Invoice, Payment, StandingCredit

ZERO = Decimal(0)


# What rooms above check besides: each appends to it once, when the app starts.
MORE: list[Callable[[], Iterator[str]]] = []


def wrong() -> Iterator[str]:
    """What doesn't hold, one sentence each; nothing when all is right. Reads every issued document once."""
    yield from _documents()
    yield from _numbers()
    yield from _money()
    yield from _credits()
    for check in MORE:
        yield from check()


def _documents() -> Iterator[str]:
    rows = queries.invoices().filter(issued_at__isnull=False).prefetch_related("lines").order_by("id")
    for row in rows.iterator(chunk_size=500):
        lines = list(row.lines.all())
        for line in lines:
            try:
                if pricing.net(line, row.currency) != line.net:
                    yield f"{row.number}, line {line.position}: states {line.net}, which isn't quantity x price - discount."
            except BadInput as error:
                yield f"{row.number}, line {line.position}: {error.message}"
        base = sum((Decimal(g["base"]) for g in row.tax_groups), ZERO)
        tax = sum((Decimal(g["tax"]) for g in row.tax_groups), ZERO)
        taken = sum((Decimal(g["discount"]) for g in row.tax_groups), ZERO)
        if row.kind not in (Invoice.Kind.CREDIT, Invoice.Kind.DEBIT):
            stated = figures.rounding(row, lines)
            if row.rounding != stated:
                yield f"{row.number}: its rounding is stated as {row.rounding} and comes to {stated}."
        if row.kind == Invoice.Kind.DEPOSIT:
            yield from _deposit(row)
        with_sums = (
            ("the sum of its lines", row.sum_net, sum((x.net for x in lines), ZERO)),
            ("its total without tax", row.total_net, base),
            ("its discount", EXACT.subtract(row.sum_net, row.total_net), taken),
            ("its tax", row.total_tax, tax),
            ("its total", row.total_gross, base + tax),
        )
        for what, stated, found in with_sums:
            if stated != found:
                yield f"{row.number}: {what} is stated as {stated} and comes to {found}."
        if row.kind != Invoice.Kind.CREDIT:
            left = queries.outstanding(row)
            if left < 0:
                yield f"{row.number}: {-left} more is allocated to it than is due."
            if (left <= 0) != (row.settled_at is not None):
                yield f"{row.number}: {left} is still to pay, but it is noted as {'' if row.settled_at else 'not '}settled."
        credited = standing.credited(row)
        if credited > row.total_gross + row.rounding:
            yield f"{row.number}: {credited} was credited, more than it charged."


def _deposit(row: Invoice) -> Iterator[str]:
    """Nothing of a deposit is taken off or credited twice."""
    off = prepaid.taken_gross(row)
    credited = sum((n.total_gross + n.rounding for n in row.credit_notes.all() if n.issued_at), ZERO)
    if off + credited > row.payable:
        yield f"{row.number}: {off} of it was taken off and {credited} credited, more than it charged."


def _numbers() -> Iterator[str]:
    """Numbers run from 1 without a gap, by series and year."""
    series: dict[str, list[int]] = {}
    for number in Invoice.objects.exclude(number="").values_list("number", flat=True).order_by("id"):
        name, _, value = number.rpartition("-")
        series.setdefault(name, []).append(int(value))
    for name, values in series.items():
        missing = sorted(set(range(1, max(values) + 1)) - set(values))
        if missing:
            yield f"{name}: number {', '.join(map(str, missing[:10]))} is missing."


def _money() -> Iterator[str]:
    """No payment and no credit note settles more than it is."""
    for key, what in (("payment", "payment"), ("credit_note", "credit note")):
        used = Allocation.objects.filter(**{f"{key}__isnull": False}).order_by().values_list(key)
        for pk, total in used.annotate(s=Sum("amount")):
            if key == "payment":
                whole = Payment.objects.get(pk=pk).amount
            else:
                note = Invoice.objects.get(pk=pk)
                whole = note.total_gross + note.rounding
            if queries.exact(abs(total)) > abs(whole):
                yield f"The {what} {pk} of {whole} is allocated to {queries.exact(total)}."


def _credits() -> Iterator[str]:
    """What is kept of each customer's credit is what payments, credit notes and allocations come to."""
    kept = dict(StandingCredit.objects.values_list("customer", "amount"))
    found = queries.free_credits()
    for pk in sorted({*kept, *found}):
        if kept.get(pk, ZERO) != found.get(pk, ZERO):
            yield (
                f"Customer {pk}: {kept.get(pk, ZERO)} is noted as their credit; payments and credit notes come to "
                f"{found.get(pk, ZERO)}."
            )
