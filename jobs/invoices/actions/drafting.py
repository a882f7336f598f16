"""An invoice while it is a draft."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db.models import prefetch_related_objects

from jobs.cards.actions import lock_card
from jobs.cards.models import JobCard
from jobs.estimates import charging, entries, parties, pricing
from jobs.estimates.gathering import Prices, part, reasons
from jobs.estimates.models import LineKind
from jobs.machines.models import Customer
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride, NotFound, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.rounding import EXACT, round_to
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import billing, gathering, prepaid
from ..figures import TOTALS, reckon
from ..models import Invoice, InvoiceLine
from . import supply
from .deducting import deduction_lines
from .locking import lock_draft

MOVED = ("position", "net", "unit_price", "quantity", "unit", "stage_id", "pricing", "tax_category", "tax_percent",
         "discount_percent", "discount_reason")  # fmt: skip
ORDER = {kind: n for n, kind in enumerate(LineKind.values)}


@writes
def draft_invoice(*, by: Person, card_id: int | None = None, customer_id: int | None = None) -> Invoice:
    """A draft of what a card has to be billed: agreed prices as agreed, else hours booked and parts used, less what was
    billed before and the deposits charged. For `customer_id` an empty one, for a sale without a card.

    Raises NotFound, BadInput, Refused when the card has a draft already, nothing that could be billed, or too much for one
    document.
    """
    if (card_id is None) == (customer_id is None):
        raise field_error("card_id", "Give either a card or a customer.", code="card-or-customer")
    if card_id is None:
        customer = Customer.objects.filter(pk=customer_id, archived_at__isnull=True).first()
        if customer is None:
            raise NotFound("There is no such customer.")
        invoice = _new(by, customer, None)
        record(by, "invoice.drafted", invoice, lines=0)
        return invoice
    card = lock_card(card_id)
    other = Invoice.objects.filter(card=card, kind=Invoice.Kind.INVOICE, issued_at__isnull=True).first()
    if other:
        raise Refused(
            f"A draft for card {card.number} is there already. Go on with it, or discard it first.",
            code="draft-open",
            invoice_id=other.pk,
        )
    job = gathering.job(card)
    if not job.result.bills and not any(x.reason in billing.BY_OWNER for x in job.result.left_out):
        raise Refused(f"Nothing has been done on card {card.number} that isn't billed already.", code="nothing-to-bill")
    prices = Prices(customer_class=card.customer.customer_class)
    prices.learn(job.parts.values())
    invoice = _new(by, card.customer, card)
    priced = sorted(gathering.items(job.result.bills, job, prices), key=lambda x: ORDER[x[0].kind])
    entries.refuse_too_many(
        len(priced),
        f"Those of card {card.number} would be {len(priced)}. Put several into one: close the card without an invoice, and "
        "write one for its customer by hand.",
    )
    lines = gathering.rows(invoice, 0, priced)
    _take_over_discount(invoice, lines)
    rated = supply.rate(invoice, lines)
    reckon(invoice, lines, reasons((x.tax_code for x in lines), rated, invoice.language))
    if left := prepaid.left_for(invoice):
        lines += deduction_lines(invoice, lines, left)
        reckon(invoice, lines, reasons((x.tax_code for x in lines), rated, invoice.language))
    charging.keep(lines)
    invoice.save(update_fields=(*TOTALS, "discount_percent", "discount_reason"))
    record(by, "invoice.drafted", invoice, root=card, lines=len(lines), net=str(invoice.total_net))
    return invoice


def _new(by: Person, customer: Customer, card: JobCard | None) -> Invoice:
    return Invoice.objects.create(
        kind=Invoice.Kind.INVOICE, card=card, customer=customer, currency=Prices().profile.currency,
        language=parties.language_of(customer), created_at=clock.now(), created_by=by,
    )  # fmt: skip


def _take_over_discount(invoice: Invoice, lines: list[InvoiceLine]) -> None:
    """The document discounts that were agreed. One for all lines: on the invoice. Else each on its own lines, so that what was
    never on an estimate has none of it."""
    first = next((x.estimate_line.estimate for x in lines if x.estimate_line), None)
    if first is not None and all(_is_agreed(x, first.discount_percent) for x in lines):
        invoice.discount_percent, invoice.discount_reason = first.discount_percent, first.discount_reason
        return
    for line in lines:
        take_over_discount(line)


def _is_agreed(line: InvoiceLine, percent: Decimal) -> bool:
    """Whether a line may have this discount on the whole: it was agreed for it, or it takes none."""
    at = line.estimate_line
    return not pricing.takes_discount(line) or (at is not None and at.estimate.discount_percent == percent)


def _keep_discount_to_agreed(invoice: Invoice, lines: Sequence[InvoiceLine]) -> None:
    """Lines join a draft (they have no key yet) that what was agreed to be off the whole of its estimate isn't off: it goes onto
    the lines that it was agreed for. A discount that was set on the draft itself is of all its lines and stays."""
    there = [x for x in lines if x.pk and not x.deducts_id]
    new = [x for x in lines if not x.pk]
    percent = invoice.discount_percent
    if not percent or not any(x.estimate_line_id for x in there):
        return
    prefetch_related_objects(there, "estimate_line__estimate")
    if all(_is_agreed(x, percent) for x in there) and not all(_is_agreed(x, percent) for x in new):
        invoice.discount_percent, invoice.discount_reason = Decimal(0), ""
        for line in lines:
            take_over_discount(line)


def take_over_discount(line: InvoiceLine) -> None:
    """Put what was agreed to be off the whole of a line's estimate onto the line itself; not onto a percentage for sundries,
    which is of lines that have it already."""
    estimate = line.estimate_line.estimate if line.estimate_line else None
    if estimate is None or not estimate.discount_percent or not pricing.takes_discount(line):
        return
    if line.basis.get("price") == "percent":
        return
    left = EXACT.multiply(100 - line.discount_percent, 100 - estimate.discount_percent)
    line.discount_percent = round_to(100 - left / 100, 3)
    why = "; ".join(x for x in (line.discount_reason, estimate.discount_reason) if x)
    line.discount_reason = why[:120]


@writes
def add_line(invoice_id: int, expect: int | None, *, by: Person, reason: str = "", **values: Any) -> InvoiceLine:
    """Add a line to a draft: kind, text, quantity, unit, unit_price; also detail, discount_*, tax_code, part_id, cost. A part's
    charges come with it, as lines of their own.

    On an invoice for a card the customer never agreed to it, so it takes an owner's `reason`. Raises NotFound, Stale,
    BadInput, NotAllowed, NeedsOverride (no reason), Refused.
    """
    invoice = lock_draft(invoice_id, expect)
    lines = list(invoice.lines.all())
    entries.refuse_too_many(len(lines) + 1)
    reason = clean_line(reason, field="reason")
    if invoice.card_id is not None:
        if not reason:
            raise NeedsOverride(
                "The customer hasn't agreed to this. Put it on an estimate or a notice of additional work, or let the "
                "owner add it and say why.",
                code="never-agreed",
            )
        require(by, "invoices.override")
    prices = Prices(customer_class=invoice.customer.customer_class)
    kind = values.get("kind") or LineKind.SUNDRY
    given: dict[str, Any] = {"kind": kind, "quantity": Decimal(1), "unit": pricing.unit_of(kind), "tax_code": ""}
    basis: dict[str, Any] = {"quantity": "hand", "price": "hand", "by": by.name}
    if values.get("part_id"):
        found = part(values["part_id"])
        item = pricing.part(prices.part(found, None, values.get("quantity") or Decimal(1)))
        given |= {n: getattr(item, n) for n in ("kind", "text", "unit", "unit_price", "tax_code")}
        basis = item.basis | {"quantity": "hand", "by": by.name}
        if values.get("unit_price") is not None:
            basis["price"] = "hand"
    given |= {k: v for k, v in values.items() if v is not None}
    if "text" not in given or not given["text"]:
        raise field_error("text", "Say what the line is for.", code="blank")
    if "unit_price" not in given:
        raise field_error("unit_price", "Give a price, 0 if it is free.", code="price-missing")
    given = entries.checked(given)
    if given.get("discount_percent"):
        require(by, "estimates.discount")
    tax = prices.tax(given.pop("tax_code"))
    line = InvoiceLine(
        invoice=invoice, position=len(lines) + 1, net=0, basis=basis, not_agreed=reason,
        tax_code=tax.code, tax_category=tax.category, tax_percent=tax.percent, **given,
    )  # fmt: skip
    new = [line]
    if line.part and line.kind == LineKind.PART:
        wanted = prices.part(line.part, None, line.quantity)
        beside = [(x, None) for x in pricing.charges(wanted, pricing.part(wanted))]
        new += gathering.rows(invoice, line.position, beside, of=line, not_agreed=reason)
    entries.refuse_too_many(len(lines) + len(new))
    settle(invoice, [*lines, *new], changed=new)
    for one in new:
        record(by, "invoice.line-added", one, root=invoice.card, text=one.text, net=str(one.net), reason=reason)
    return line


@writes
def edit_line(line_id: int, expect: int | None, *, by: Person, reason: str = "", **values: Any) -> InvoiceLine:
    """Change a line of a draft; `expect` is the version of the invoice.

    What was agreed and done is the upper limit: raising a quantity or price takes an owner's `reason`. Raises NotFound,
    Stale, BadInput, NotAllowed, NeedsOverride, Refused.
    """
    invoice, line, lines = _lock_line(line_id, expect)
    if line.deducts_id:
        raise Refused(
            "A deposit is taken off as it was charged. Remove the line, or take the deposits off anew.",
            code="deduction",
        )
    given = {k: v for k, v in values.items() if not (v is None and k in ("unit_price", "quantity", "tax_code"))}
    unknown = set(given) - entries.COMMON
    if unknown:
        raise TypeError(f"a line has no {sorted(unknown)}")
    given = entries.checked(given, line)
    charging.refuse_apart(line, given)
    before = {k: getattr(line, k) for k in given}
    raised: list[str] = [n for n in ("quantity", "unit_price") if n in given and given[n] > getattr(line, n)]
    if given.get("discount_percent", line.discount_percent) < line.discount_percent:
        raised.append("discount_percent")
    if given.get("discount_percent", line.discount_percent) > line.discount_percent:
        require(by, "estimates.discount")
    if raised and invoice.card_id is not None:
        reason = clean_line(reason, field="reason")
        if not reason:
            said = (
                "This is more than was agreed and done. Lower it, get the customer's word on a new revision, or let the "
                "owner raise it and say why."
            )
            raise NeedsOverride(said, code="more-than-agreed", fields={name: [said] for name in raised})
        require(by, "invoices.override")
        line.not_agreed = reason
    basis = dict(line.basis)
    for name in entries.FIGURES & set(given):
        if given[name] != getattr(line, name):
            basis |= {("price" if name == "unit_price" else "quantity"): "hand", "by": by.name}
    prices = Prices()
    if "tax_code" in given:
        tax = prices.tax(given["tax_code"])
        given |= {"tax_code": tax.code, "tax_category": tax.category, "tax_percent": tax.percent}
    if line.cost is not None and line.quantity > 0:  # of the whole line; what is billed later brings its own
        line.cost = pricing.for_quantity(line.cost, line.quantity, given.get("quantity", line.quantity))
    for name, value in given.items():
        setattr(line, name, value)
    line.basis = basis
    settle(invoice, lines, changed=[line])
    after = {k: getattr(line, k) for k in before}
    record(
        by, "invoice.line-changed", line, root=invoice.card, text=line.text, reason=reason,
        changed={k: [str(a), str(b)] for k, (a, b) in changes(before, after).items()},
    )  # fmt: skip
    return line


@writes
def remove_line(line_id: int, expect: int | None, *, by: Person) -> Invoice:
    """Take a line off a draft, a part's line with its charges; what it was for can be billed later. A charge that is taken off
    by itself is not: it only comes with its part."""
    invoice, line, lines = _lock_line(line_id, expect)
    gone = [line, *(x for x in lines if x.accompanies_id == line.pk)]
    for one in gone:
        record(by, "invoice.line-removed", one, root=invoice.card, text=one.text, net=str(one.net))
    line.delete()
    settle(invoice, [x for x in lines if x not in gone])
    return invoice


@writes
def edit_invoice(
    invoice_id: int,
    expect: int | None,
    *,
    by: Person,
    note: str | None = None,
    discount_percent: Decimal | None = None,
    discount_reason: str | None = None,
) -> Invoice:
    """Change what belongs to a draft as a whole; None leaves it. A discount takes the right `estimates.discount` and a
    reason."""
    invoice = lock_draft(invoice_id, expect)
    before = {name: str(getattr(invoice, name)) for name in ("note", "discount_percent", "discount_reason")}
    if note is not None:
        invoice.note = clean_text(note, field="note", max_length=4000)
    percent = invoice.discount_percent if discount_percent is None else discount_percent
    reason = invoice.discount_reason if discount_reason is None else discount_reason
    if (percent, reason) != (invoice.discount_percent, invoice.discount_reason):
        if invoice.kind == Invoice.Kind.DEPOSIT:
            raise Refused("A deposit has no discount: ask for less instead.", code="deposit-discount")
        require(by, "estimates.discount")
        invoice.discount_percent, invoice.discount_reason = entries.discount(percent, reason)
    settle(invoice, list(invoice.lines.all()), *before)
    after = {name: str(getattr(invoice, name)) for name in before}
    record(by, "invoice.changed", invoice, root=invoice.card, changed=changes(before, after))
    return invoice


@writes
def discard_invoice(invoice_id: int, expect: int | None, *, by: Person) -> None:
    """Throw a draft away. It has no number, so no number is missing; the trail keeps that it was."""
    invoice = lock_draft(invoice_id, expect)
    record(by, "invoice.discarded", invoice, root=invoice.card, gross=str(invoice.total_gross))
    invoice.lines.all().delete()
    invoice.delete()


def _lock_line(line_id: int, expect: int | None) -> tuple[Invoice, InvoiceLine, list[InvoiceLine]]:
    invoice_id = InvoiceLine.objects.filter(pk=line_id).values_list("invoice_id", flat=True).first()
    if invoice_id is None:
        raise NotFound("There is no such line.")
    invoice = lock_draft(invoice_id, expect)
    lines = list(invoice.lines.all())
    line = next((x for x in lines if x.pk == line_id), None)
    if line is None:
        raise NotFound("There is no such line any more.")
    return invoice, line, lines


def settle(invoice: Invoice, lines: list[InvoiceLine], *more: str, changed: Sequence[InvoiceLine] = ()) -> None:
    """Order, price and sum a draft anew, charges as their parts, at the VAT rates of the day of supply; save what moved and
    raise its version. `changed` are saved in their order."""
    before = {line.pk: [getattr(line, name) for name in MOVED] for line in lines}
    if any(not x.pk for x in lines):
        _keep_discount_to_agreed(invoice, lines)
    for gone in charging.follow(lines):
        gone.delete()
        lines = [x for x in lines if x is not gone]
    lines = sorted(lines, key=lambda x: (x.deducts_id is not None, ORDER[x.kind]))
    for n, line in enumerate(lines, start=1):
        line.position = n
    rated = supply.rate(invoice, lines)
    reckon(invoice, lines, reasons((x.tax_code for x in lines), rated, invoice.language))
    for line in changed:
        line.save()
    moved = [x for x in lines if x not in changed and before[x.pk] != [getattr(x, name) for name in MOVED]]
    InvoiceLine.objects.bulk_update(moved, [*MOVED, "basis"], batch_size=100)
    save_next(
        invoice, **{name: getattr(invoice, name) for name in {*TOTALS, "discount_percent", "discount_reason", *more}}
    )
