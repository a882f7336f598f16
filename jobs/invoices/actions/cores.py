"""An old part comes back, or its deposit is kept. The invoice's row is the lock, or the card's before there is an invoice."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from jobs.cards.actions import lock_card
from jobs.cards.models import JobCard
from jobs.estimates.models import LineKind
from jobs.estimates.pricing import net
from shop.kernel import clock
from shop.kernel.closed import must_be_open
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import cores, queries
from ..models import CoreReturn, InvoiceLine
from .crediting import credit_note
from .locking import lock_issued

Outcome = CoreReturn.Outcome
ZERO = Decimal(0)
REASON = {"en": "Old part handed in: {condition}", "de": "Altteil zurückgegeben: {condition}"}


@writes
def take_core(
    line_id: int, *, by: Person, quantity: Decimal, condition: str, accepted: bool = True, reason: str = ""
) -> CoreReturn:
    """An old part comes back for which a line of an issued invoice charged a deposit. Accepted, the credit note over just that
    deposit is issued with it; refused, with a `reason`, it stays charged.

    `condition`: how the part is, in words. Raises NotFound, BadInput (no condition, no reason, more than is still out).
    """
    condition = clean_line(condition, field="condition", required=True, max_length=300)
    reason = clean_line(reason, field="reason", required=not accepted, max_length=200)
    line = _lock_line(line_id)
    left = cores.left_of(line)
    positive(as_decimal(quantity, "quantity"), line.unit)
    if quantity > left:
        raise _more(line, left)
    note = None
    if accepted:
        said = REASON.get(line.invoice.language, REASON["en"]).format(condition=condition)[:200]
        note = credit_note(line.invoice_id, by=by, reason=said, quantities={line.pk: quantity})
    row = CoreReturn.objects.create(
        line=line, quantity=quantity, outcome=Outcome.ACCEPTED if accepted else Outcome.REFUSED, condition=condition,
        reason=reason, credit_note=note, by=by, at=clock.now(),
    )  # fmt: skip
    record(
        by, "core.taken" if accepted else "core.refused", row, root=line.invoice.card, number=line.invoice.number,
        text=line.text, quantity=plain(quantity), condition=condition, reason=reason,
    )  # fmt: skip
    return row


@writes
def hand_in_core(
    card_id: int,
    *,
    by: Person,
    part_id: int,
    quantity: Decimal,
    condition: str,
    accepted: bool = True,
    reason: str = "",
) -> CoreReturn:
    """The old part is here before the invoice is made: the invoice then charges no deposit for so many.

    Raises NotFound, BadInput (no deposit on this part, more than the card asks for), Refused (the card is closed, its deposit
    stands on an invoice already).
    """
    condition = clean_line(condition, field="condition", required=True, max_length=300)
    reason = clean_line(reason, field="reason", required=not accepted, max_length=200)
    card = lock_card(card_id)
    _refuse_closed(card)
    found = cores.parts_with_deposit(card_id).get(part_id)
    if found is None:
        raise field_error("part_id", "No core deposit is charged on such a part of this card.", code="no-deposit")
    part, wanted = found
    positive(as_decimal(quantity, "quantity"), part.unit)
    out = cores.charged(card_id=card_id, part_id=part_id).first()
    if out is not None:
        raise Refused(
            f"The deposit stands on {out.invoice.number} already. Take the old part back there, then it is credited.",
            code="charged-already",
            line_id=out.pk,
        )
    before = cores.handed_in(card_id).get(part_id, ZERO)
    if accepted and before + quantity > wanted:
        raise field_error(
            "quantity", f"This card asks for {plain(wanted.normalize())} of {part.number}, and {plain(before.normalize())} were "
            "handed in before.", code="more-than-wanted",
        )  # fmt: skip
    row = CoreReturn.objects.create(
        card=card, part=part, quantity=quantity, outcome=Outcome.ACCEPTED if accepted else Outcome.REFUSED,
        condition=condition, reason=reason, by=by, at=clock.now(),
    )  # fmt: skip
    record(
        by, "core.handed-in" if accepted else "core.refused", row, root=card, number=card.number, text=part.number,
        quantity=plain(quantity), condition=condition, reason=reason,
    )  # fmt: skip
    return row


@writes
def keep_deposit(line_id: int, *, by: Person, quantity: Decimal, on: date, reason: str) -> CoreReturn:
    """The old part doesn't come any more: its deposit is kept, and is a sale of the day `on`. Raises NotFound, BadInput (more
    than is out, a day before the invoice, in the future or in a closed month)."""
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    must_be_open(on, field="on")
    line = _lock_line(line_id)
    left = cores.left_of(line)
    positive(as_decimal(quantity, "quantity"), line.unit)
    if quantity > left:
        raise _more(line, left)
    issued = line.invoice.issued_on
    if on > clock.today() or (issued and on < issued):
        raise field_error("on", "Give a day from that of the invoice to today.", code="bad-day")
    row = CoreReturn.objects.create(
        line=line, quantity=quantity, outcome=Outcome.KEPT, reason=reason, kept_on=on,
        amount=_amount(line, quantity, left), by=by, at=clock.now(),
    )  # fmt: skip
    record(
        by, "core.kept", row, root=line.invoice.card, number=line.invoice.number, text=line.text,
        quantity=plain(quantity), amount=str(row.amount), reason=reason,
    )  # fmt: skip
    return row


@writes
def undo_core(core_id: int, *, by: Person, reason: str) -> CoreReturn:
    """What was recorded was wrong: an old part that was handed in with a card and no invoice counted, a refusal, or a deposit
    that was kept. Raises NotFound, BadInput, Refused (undone already, credited, counted)."""
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    row = cores.core_return(core_id)
    if row is None:
        raise NotFound("There is no such record.")
    if row.line_id:
        _lock_line(row.line_id)
    elif row.card_id:
        lock_card(row.card_id)
    if row.reverses_id or CoreReturn.objects.filter(reverses=row).exists():
        raise Refused("This is undone already, or undoes another.", code="undone")
    if row.credit_note is not None:
        raise Refused(
            f"{row.credit_note.number} credited it, which stays. Charge the deposit anew on an invoice.",
            code="credited",
        )
    if row.card_id and row.outcome == Outcome.ACCEPTED:
        free = cores.free(row.card_id).get(row.part_id or 0, ZERO)
        if row.quantity > free:
            raise Refused(
                "An invoice, or its draft, charges no deposit for it already. Discard the draft, or charge it anew.",
                code="counted",
            )
    kept = {"kept_on": clock.today(), "amount": row.amount} if row.outcome == Outcome.KEPT else {}
    undone = CoreReturn.objects.create(
        line=row.line, card=row.card, part=row.part, quantity=row.quantity, outcome=row.outcome, reason=reason,
        reverses=row, by=by, at=clock.now(), **kept,
    )  # fmt: skip
    card = row.card or (row.line.invoice.card if row.line else None)
    record(by, "core.undone", undone, root=card, quantity=plain(row.quantity), reason=reason)
    return undone


def refuse_handed_in_since(card: JobCard, lines: list[InvoiceLine]) -> None:
    """Raises Refused when an old part was handed in after this draft charged its deposit. The card is locked."""
    charged = [x for x in lines if x.kind == LineKind.CORE and x.part_id]
    free = cores.free(card.pk) if charged else {}
    since = [x for x in charged if free.get(x.part_id or 0, ZERO) > 0]
    if since:
        raise Refused(
            f"The old part of line {since[0].position} “{since[0].text}” was handed in since this was drafted. Discard the draft "
            "and draft anew, then its deposit is left off.",
            code="core-handed-in",
        )


def _amount(line: InvoiceLine, quantity: Decimal, left: Decimal) -> Decimal:
    """What of the line's net so many come to; the last come to what is left of it."""
    invoice = line.invoice
    if quantity == left:
        whole = queries.creditable(invoice, [line])[line.pk][1]
        return whole - cores.kept_of([line.pk]).get(line.pk, (ZERO, ZERO))[1]
    part = InvoiceLine(**{name: getattr(line, name) for name in ("kind", "unit_price", "discount_percent")})
    part.quantity, part.tax_category, part.tax_percent = quantity, line.tax_category, line.tax_percent
    return net(part, invoice.currency)


def _lock_line(line_id: int) -> InvoiceLine:
    """A line that charges core deposits, its invoice locked. Raises NotFound, Refused for a draft."""
    found = InvoiceLine.objects.filter(pk=line_id, kind=LineKind.CORE).values_list("invoice_id", flat=True).first()
    if found is None:
        raise NotFound("There is no such line with a core deposit.")
    lock_issued(found)
    line = cores.charged_line(line_id)
    if line is None:
        raise NotFound("This line charges no core deposit.")
    return line


def _more(line: InvoiceLine, left: Decimal) -> BadInput:
    return field_error(
        "quantity",
        f"Of “{line.text}” on {line.invoice.number} {plain(left.normalize())} are still out.",
        code="more-than-out",
    )


def _refuse_closed(card: JobCard) -> None:
    if card.cancelled_at:
        raise Refused(f"Card {card.number} was cancelled: nothing of it is charged.", code="card-closed")
