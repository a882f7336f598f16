"""The credit note: the only way to take back what an invoice says."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from jobs.estimates.figures import TOTALS, reckon
from jobs.estimates.pricing import CORE, ZERO, discounts, net, takes_discount
from shop.kernel import clock
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.money import Money
from shop.kernel.quantity import positive
from shop.kernel.rounding import EXACT, round_to
from shop.kernel.text import clean_line
from shop.kernel.totals import Vat, percent_of
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from .. import cores, gathering, prepaid, queries, standing, terms
from ..models import Allocation, Invoice, InvoiceLine
from .locking import lock_issued
from .settling import keep_credit, settle

COPIED = (
    "position", "kind", "text", "detail", "unit", "tax_code", "tax_category", "tax_percent", "stage_id", "part_id",
    "estimate_line_id", "pricing", "deducts_id",
)  # fmt: skip


@writes
def credit_note(
    invoice_id: int, *, by: Person, reason: str, quantities: Mapping[int, Decimal] | None = None
) -> Invoice:
    """Credit an issued invoice, whole (what is left of it) or so much of some lines, and issue the note at once.

    `quantities`: by line of the invoice. The note states positive amounts, names the invoice, and settles what is still
    owed on it; the rest stands to the customer's credit. Of a deposit that was taken off it is the cents of VAT, if any are
    left, as the note's rounding. All notes of an invoice together come to the invoice exactly and
    never to more. Raises NotFound, BadInput, Refused (a draft, a credit note, all credited).
    """
    reason = clean_line(reason, field="reason", required=True)
    invoice = lock_issued(invoice_id)
    if invoice.kind == Invoice.Kind.CREDIT:
        raise Refused("This is a credit note itself. Issue a new invoice instead.", code="is-credit")
    if invoice.kind == Invoice.Kind.DEBIT:
        raise Refused("A debit note only takes a discount back. Credit the invoice that it was for.", code="is-debit")
    rows = list(invoice.lines.all())
    left = queries.creditable(invoice, rows)
    cents = quantities is None and not any(q for q, _ in left.values()) and _cents_left(invoice)
    wanted = {} if cents else _wanted(rows, left, quantities)
    _refuse_kept(rows, left, wanted)
    note = Invoice.objects.create(
        kind=Invoice.Kind.CREDIT, card_id=invoice.card_id, customer_id=invoice.customer_id, credits=invoice, reason=reason,
        currency=invoice.currency, language=invoice.language, created_at=clock.now(), created_by=by,
        discount_percent=invoice.discount_percent, discount_reason=invoice.discount_reason,
    )  # fmt: skip
    lines = [_line(note, invoice.number, row, wanted[row.pk], left[row.pk]) for row in rows if row.pk in wanted]
    if cents:
        lines = [_line_of_cents(note, invoice.number, rows[0])]
    all_of_it = all(left[x.pk][0] == wanted.get(x.pk, ZERO) for x in rows)
    why = {g["category"]: g["reason"] for g in invoice.tax_groups}
    reasons = {x.tax_code: why.get(x.tax_category, "") for x in rows}
    early = standing.early(invoice)
    if early:  # what was given off for early payment isn't credited twice
        note.discount_percent = terms.both(invoice.discount_percent, early.early_percent)
        note.discount_reason = "; ".join(x for x in (invoice.discount_reason, early.number) if x)[:120]
    if not early and not any(takes_discount(x) for x in lines):  # core deposits come back whole
        note.discount_percent, note.discount_reason = ZERO, ""
    off = _allowances_left(invoice, lines) if all_of_it else _allowances(note, lines, early) if early else None
    reckon(note, lines, reasons, off)
    due_left = invoice.total_gross + invoice.rounding - standing.credited(invoice)
    if invoice.kind == Invoice.Kind.DEPOSIT:
        due_left -= prepaid.taken_gross(invoice)
    if not all_of_it and note.total_gross > due_left and any(x.deducts_id and left[x.pk][0] for x in rows):
        raise Refused(
            f"{invoice.number} charges only {Money(due_left, invoice.currency)} after its deposits, less than these lines. "
            "Credit all of it, then the deposit invoice; or fewer lines.",
            code="more-than-charged",
            left=str(due_left),
        )
    note.rounding = due_left - note.total_gross if all_of_it or note.total_gross > due_left else ZERO
    InvoiceLine.objects.bulk_create(lines)
    today = clock.today()
    save_next(
        note,
        number=number("CRN", "credit-note", today.year), issued_at=clock.now(), issued_on=today, issued_by=by,
        supplied_on=invoice.supplied_on,
        seller=invoice.seller | {"contact": by.name}, buyer=invoice.buyer, subject=invoice.subject,
        rounding=note.rounding, discount_percent=note.discount_percent, discount_reason=note.discount_reason, **{name: getattr(note, name) for name in TOTALS},
    )  # fmt: skip
    settles = min(note.total_gross + note.rounding, queries.outstanding(invoice))
    if settles > 0:
        Allocation.objects.create(invoice=invoice, credit_note=note, amount=settles, at=note.issued_at)
        settle(invoice)
    keep_credit(invoice.customer_id)
    record(
        by, "invoice.credited", note, root=invoice.card, number=note.number, credits=invoice.number, reason=reason,
        gross=str(note.total_gross + note.rounding),
    )  # fmt: skip
    announce("invoice.issued", invoice=note.pk)
    return note


CENTS = {
    "en": "VAT of deposit invoice {number}, rounded: what no invoice took off",
    "de": "Umsatzsteuer der Anzahlungsrechnung {number}, gerundet: nicht verrechneter Rest",
}


def _cents_left(invoice: Invoice) -> bool:
    """Whether all of a deposit was taken off or credited, but for cents of VAT."""
    return invoice.kind == Invoice.Kind.DEPOSIT and bool(prepaid.left([invoice]))


def _line_of_cents(note: Invoice, credits: str, row: InvoiceLine) -> InvoiceLine:
    """The one line of such a note. VAT can't be credited without a net (BR-CO-17), so the amount is its rounding (BT-114)."""
    return gathering.lump(
        note, 1, CENTS.get(note.language, CENTS["en"]).format(number=credits), ZERO, row.tax_code,
        Vat(row.tax_category, row.tax_percent), {"quantity": "lump", "price": "credited", "credits": credits},
    )  # fmt: skip


def _wanted(
    rows: list[InvoiceLine], left: Mapping[int, tuple[Decimal, Decimal]], quantities: Mapping[int, Decimal] | None
) -> dict[int, Decimal]:
    """How much of which line; checked against what is left of each."""
    if quantities is None:
        found = {pk: quantity for pk, (quantity, _) in left.items() if quantity}
        if not found:
            raise Refused(
                "All of this invoice is credited already, or taken off another invoice as a deposit.",
                code="all-credited",
            )
        return found
    by_id = {x.pk: x for x in rows}
    if not quantities:
        raise field_error("lines", "Name at least one line to credit.", code="no-lines")
    for pk, quantity in quantities.items():
        if pk not in by_id:
            raise field_error("lines", "Some lines don't belong to this invoice.", code="unknown-line")
        row = by_id[pk]
        if row.deducts_id:
            raise field_error(
                "lines", "A deposit that was taken off comes back when all lines are credited.", code="deduction"
            )
        positive(as_decimal(quantity, "quantity"), row.unit)
        if quantity > left[pk][0]:
            raise BadInput(
                f"Of line {row.position} “{row.text}” only {plain(left[pk][0])} can still be credited.",
                code="more-than-invoiced",
                fields={"lines": [f"line {row.position}: at most {plain(left[pk][0])}"]},
            )
    found = dict(quantities)
    if all(found.get(x.pk, ZERO) == left[x.pk][0] for x in rows if not x.deducts_id):
        found |= {x.pk: left[x.pk][0] for x in rows if x.deducts_id and left[x.pk][0]}
    return found


def _refuse_kept(
    rows: list[InvoiceLine], left: Mapping[int, tuple[Decimal, Decimal]], wanted: Mapping[int, Decimal]
) -> None:
    """A deposit that was kept is a sale now, and no deposit that could go back."""
    kept = cores.kept_of(x.pk for x in rows if x.kind == CORE)
    for row in rows:
        if row.pk in kept and wanted.get(row.pk, ZERO) > left[row.pk][0] - kept[row.pk][0]:
            raise Refused(
                f"Of line {row.position} “{row.text}” {plain(kept[row.pk][0].normalize())} were kept as a sale. Undo that under "
                "Core deposits first.",
                code="core-kept",
            )


def _line(
    note: Invoice, credits: str, row: InvoiceLine, quantity: Decimal, left: tuple[Decimal, Decimal]
) -> InvoiceLine:
    """So much of `row`. The last piece of a line is what is left of its net, whatever the pieces before were rounded to."""
    line = InvoiceLine(
        invoice=note, credits_line=row, quantity=quantity, unit_price=row.unit_price, net=0,
        discount_percent=row.discount_percent, discount_reason=row.discount_reason,
        basis={"quantity": "credited", "price": "credited", "credits": credits}
        | {k: row.basis[k] for k in ("part_number", "deposit", "tax") if k in row.basis},
        **{name: getattr(row, name) for name in COPIED},
    )  # fmt: skip
    own = net(line, note.currency)
    left_quantity, left_net = left
    if own > left_net or (quantity == left_quantity and own != left_net):
        line.discount_percent, line.discount_reason = ZERO, ""
        line.unit_price = round_to(EXACT.divide(left_net, quantity), 6)
    return line


def _allowances(note: Invoice, lines: list[InvoiceLine], early: Invoice) -> dict[Vat, Decimal]:
    """By tax rate, what a part of an invoice that was paid early is less by: the discount on the whole isn't of core deposits,
    what was given off for early payment is."""
    found = discounts(lines, note.discount_percent, note.currency)
    cores: dict[Vat, Decimal] = {}
    for line in lines:
        if not takes_discount(line):
            vat = Vat(line.tax_category, line.tax_percent)
            cores[vat] = cores.get(vat, ZERO) + net(line, note.currency)
    for vat, amount in cores.items():
        found[vat] = found.get(vat, ZERO) + percent_of(amount, early.early_percent, note.currency)
    return found


def _allowances_left(invoice: Invoice, lines: list[InvoiceLine]) -> dict[Vat, Decimal]:
    """By tax rate, what the last note takes off its lines so that all notes come to what the invoice charged: the rest of the
    document's discount, and what was given off for early payment."""
    found: dict[Vat, Decimal] = {}
    for line in lines:
        vat = Vat(line.tax_category, line.tax_percent)
        found[vat] = found.get(vat, ZERO) + net(line, invoice.currency)
    for g in invoice.tax_groups:
        vat = Vat(g["category"], Decimal(g["percent"]))
        found[vat] = found.get(vat, ZERO) - Decimal(g["base"])
    for vat, base in standing.bases(invoice).items():
        found[vat] = found.get(vat, ZERO) + base
    if invoice.kind == Invoice.Kind.DEPOSIT:
        for vat, (taken, _) in prepaid.taken_off([invoice.pk])[invoice.pk].items():
            found[vat] = found.get(vat, ZERO) + taken
    return found
