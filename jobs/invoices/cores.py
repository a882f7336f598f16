"""Reads of core deposits: which old parts are still out, and what of a card's were handed in before its invoice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal

from django.db.models import DecimalField, F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from inventory.parts.models import ChargeKind, Part, PartCharge
from jobs.draws import queries as draws
from jobs.estimates.models import EstimateLine, LineKind
from shop.kernel.rounding import round_to

from .models import CoreReturn, Invoice, InvoiceLine

ZERO = Decimal(0)
QUANTITY = DecimalField(max_digits=18, decimal_places=6)
LEAST = Decimal("0.0000005")  # SQLite adds in binary: less than half of the last digit is nothing
STANDS = Q(reverses__isnull=True, reversal__isnull=True)
Outcome = CoreReturn.Outcome


def _sum(rows: QuerySet, key: str) -> Coalesce:
    total = rows.filter(**{key: OuterRef("pk")}).order_by().values(key).annotate(s=Sum("quantity")).values("s")
    return Coalesce(Subquery(total, output_field=QUANTITY), Value(ZERO), output_field=QUANTITY)


def charged(
    *, customer_id: int | None = None, card_id: int | None = None, part_id: int | None = None, out: bool = True
) -> QuerySet[InvoiceLine]:
    """Lines of issued invoices that charge core deposits, with `credited`, `kept` and `left`: what is still out. `out`: only
    those of which something is."""
    rows = InvoiceLine.objects.filter(kind=LineKind.CORE, invoice__issued_at__isnull=False, credits_line__isnull=True)
    rows = rows.filter(invoice__kind=Invoice.Kind.INVOICE).select_related("invoice__customer", "invoice__card", "part")
    rows = rows.annotate(
        credited=_sum(InvoiceLine.objects.filter(invoice__issued_at__isnull=False), "credits_line"),
        kept=_sum(CoreReturn.objects.filter(STANDS, outcome=Outcome.KEPT), "line"),
        left=F("quantity") - F("credited") - F("kept"),
    )
    if customer_id is not None:
        rows = rows.filter(invoice__customer=customer_id)
    if card_id is not None:
        rows = rows.filter(invoice__card=card_id)
    if part_id is not None:
        rows = rows.filter(part=part_id)
    return rows.filter(left__gt=LEAST) if out else rows


def charged_line(pk: int) -> InvoiceLine | None:
    return charged(out=False).filter(pk=pk).first()


def left_of(line: InvoiceLine) -> Decimal:
    """How many of a line of `charged` are still out."""
    return max(ZERO, round_to(line.left, 6))  # type: ignore[attr-defined]


def kept_of(line_ids: Iterable[int]) -> dict[int, tuple[Decimal, Decimal]]:
    """(quantity, amount before tax) of deposits that were kept, by line; lines with none are left out."""
    found: dict[int, tuple[Decimal, Decimal]] = {}
    rows = CoreReturn.objects.filter(STANDS, outcome=Outcome.KEPT, line__in=list(line_ids))
    for line, quantity, amount in rows.values_list("line_id", "quantity", "amount"):
        before = found.get(line or 0, (ZERO, ZERO))
        found[line or 0] = (before[0] + quantity, before[1] + (amount or ZERO))
    return found


def net_of(invoices: QuerySet[Invoice]) -> dict[int, Decimal]:
    """What of the net of these documents, by card, are core deposits, whatever became of them. Credit notes less."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    lines = InvoiceLine.objects.filter(invoice__in=invoices, kind=LineKind.CORE).exclude(
        invoice__kind=Invoice.Kind.DEPOSIT
    )
    for card, kind, net in lines.values_list("invoice__card", "invoice__kind", "net"):
        found[card or 0] += -net if kind == Invoice.Kind.CREDIT else net
    return {card: amount for card, amount in found.items() if card}


def owed(invoices: QuerySet[Invoice]) -> dict[int, Decimal]:
    """The same of those that are owed back: no earning. Those that were kept are one."""
    found = defaultdict(Decimal, net_of(invoices))
    kept = CoreReturn.objects.filter(STANDS, outcome=Outcome.KEPT, line__invoice__in=invoices)
    for card, amount in kept.values_list("line__invoice__card", "amount"):
        found[card or 0] -= amount or ZERO
    return {card: amount for card, amount in found.items() if card}


def returns(
    *, customer_id: int | None = None, card_id: int | None = None, line_id: int | None = None
) -> QuerySet[CoreReturn]:
    """What became of old parts. Of a card: those handed in with it and those of its invoices."""
    rows = CoreReturn.objects.select_related(
        "card", "part", "line__invoice__card", "line__part", "credit_note", "by", "reversal"
    )
    if customer_id is not None:
        rows = rows.filter(Q(card__customer=customer_id) | Q(line__invoice__customer=customer_id))
    if card_id is not None:
        rows = rows.filter(Q(card=card_id) | Q(line__invoice__card=card_id))
    return rows.filter(line=line_id) if line_id is not None else rows


def core_return(pk: int) -> CoreReturn | None:
    return returns().filter(pk=pk).first()


def handed_in(card_id: int) -> dict[int, Decimal]:
    """How many old parts were accepted with a card before its invoice, by part."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    rows = CoreReturn.objects.filter(STANDS, card=card_id, outcome=Outcome.ACCEPTED)
    for part, quantity in rows.values_list("part_id", "quantity"):
        found[part or 0] += quantity
    return dict(found)


def counted(card_id: int) -> dict[int, Decimal]:
    """Of those, how many left a deposit off an invoice of the card, or off its draft, by part."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    rows = InvoiceLine.objects.filter(invoice__card=card_id, kind=LineKind.PART, basis__has_key="cores_in")
    rows = rows.annotate(credited=_sum(InvoiceLine.objects.filter(invoice__issued_at__isnull=False), "credits_line"))
    for part, quantity, credited, basis in rows.values_list("part_id", "quantity", "credited", "basis"):
        found[part or 0] += max(ZERO, min(Decimal(basis["cores_in"]), round_to(quantity - credited, 6)))
    return dict(found)


def free(card_id: int) -> dict[int, Decimal]:
    """How many that were handed in with a card can leave a deposit off, by part."""
    given = handed_in(card_id)
    if not given:
        return {}
    used = counted(card_id)
    return {part: max(ZERO, quantity - used.get(part, ZERO)) for part, quantity in given.items()}


def parts_with_deposit(card_id: int) -> dict[int, tuple[Part, Decimal]]:
    """The parts of a card on which a deposit is or will be charged, each with how many the card asks for: as needed, used or
    estimated, whichever is most."""
    wanted: dict[int, dict[str, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    for need in draws.needs(card_id):
        wanted[need.part_id]["needed"] += need.quantity
    for row in draws.used(card_id):
        wanted[row["part_id"]]["used"] += row["quantity"]
    lines = EstimateLine.objects.filter(estimate__card=card_id, kind=LineKind.CORE, part__isnull=False).filter(
        estimate__superseded_at__isnull=True, estimate__withdrawn_at__isnull=True
    )
    estimated = set()
    for part, quantity in lines.values_list("part_id", "quantity"):
        wanted[part or 0]["estimated"] += quantity
        estimated.add(part or 0)
    cores = PartCharge.objects.filter(part__in=list(wanted), kind=ChargeKind.CORE, archived_at__isnull=True)
    known = set(cores.values_list("part_id", flat=True)) | estimated
    parts = Part.objects.in_bulk(known)
    return {pk: (parts[pk], max(wanted[pk].values())) for pk in sorted(known, key=lambda pk: parts[pk].number)}
