"""Issuing an invoice: checked, numbered, frozen."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from jobs.cards.actions import lock_card, note_invoiced
from jobs.cards.models import JobCard
from jobs.draws import queries as draws
from jobs.estimates import parties
from jobs.estimates.gathering import Prices, apply_taxes, reasons
from jobs.timebook import queries as timebook
from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride, Questions, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.totals import Vat
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from .. import queries
from ..figures import TOTALS, reckon
from ..models import Invoice, InvoiceLine
from . import supply
from .cores import refuse_handed_in_since
from .deducting import check_deposits, retake
from .depositing import check_asked
from .locking import lock_account, lock_draft

ZERO = Decimal(0)


@writes
def issue_invoice(
    invoice_id: int, expect: int | None, *, by: Person, supplied_on: date | None = None, override: str = ""
) -> Invoice:
    """Number and freeze a draft. From here on it never changes; a credit note corrects it.

    A deposit invoice asks for money before the work: it states no day of supply, and clocks may run.
    `supplied_on`: by default the day the last stage was finished, else today. `override`: an owner's reason to issue with
    clocks running or parts lying loose at the bench, to take off a deposit that isn't paid, not to take off one that is left,
    or to ask for more by deposits than is agreed. VAT rates are those of the day of supply; where they became others since it
    was drafted, deposits are taken off anew. Raises NotFound, Stale, BadInput (supplied_on), NotAllowed, NeedsOverride,
    Refused (no lines, below zero, billed meanwhile, something the law asks for is missing).
    """
    owner = Invoice.objects.filter(pk=invoice_id).values_list("customer_id", flat=True).first()
    if owner is not None:
        lock_account(owner)  # what deposits there are and what is left of them stands still
    invoice = lock_draft(invoice_id, expect)
    deposit = invoice.kind == Invoice.Kind.DEPOSIT
    card = lock_card(invoice.card_id) if invoice.card_id else None
    lines = list(invoice.lines.all())
    if not lines:
        raise Refused("It has no lines. Add at least one, or discard it.", code="no-lines")
    missing = [str(x.position) for x in lines if x.basis.get("price") == "missing"]
    if missing:
        raise Refused(f"The price of line {', '.join(missing[:10])} is not known. Set it.", code="price-missing")
    override = clean_line(override, field="override")
    questions = Questions()
    if card is not None:
        with questions.noted():
            _check_unbilled(card, by, override)
    if card is not None and not deposit:
        with questions.noted():
            _check_done(card, by, override)
        _check_billed_once(card, lines)
        refuse_handed_in_since(card, lines)
    today = clock.today()
    if deposit and supplied_on is not None:
        raise field_error(
            "supplied_on", "A deposit is asked for before the work is done. Leave this day out.", code="deposit"
        )
    supplied_on = None if deposit else supply.checked(supplied_on, invoice.card_id)
    prices = Prices(supplied_on or today)  # the rate is that of the day of supply (Art. 63, 93 of the Directive)
    charged = [x for x in lines if not x.deducts_id]
    before = {Vat(x.tax_category, x.tax_percent) for x in charged}
    rates = apply_taxes(charged, prices)
    if rates:
        InvoiceLine.objects.bulk_update(charged, ["tax_category", "tax_percent"], batch_size=200)
        if not deposit:
            lines = retake(invoice, lines, before, prices)
    reckon(invoice, lines, reasons((x.tax_code for x in lines), prices, invoice.language))
    left_off: list[str] = []
    with questions.noted():
        if deposit:
            check_asked(invoice, by, override)
        else:
            left_off = check_deposits(invoice, lines, by, override)
    questions.ask()
    if invoice.total_gross < 0:
        raise Refused("The total is below zero. Money back is a credit note, not an invoice.", code="negative")
    seller = parties.seller(prices.profile) | {"contact": by.name}
    buyer = parties.buyer(invoice.customer)
    check_stated(invoice, seller, buyer)
    days = invoice.customer.payment_days
    terms = business.money_terms()
    early = terms.early_percent if not deposit and invoice.total_gross + invoice.rounding > 0 else ZERO
    save_next(
        invoice,
        number=number("INV", "invoice", today.year), issued_at=clock.now(), issued_on=today, issued_by=by,
        supplied_on=supplied_on,
        due_on=today + timedelta(days=prices.profile.payment_days if days is None else days),
        early_percent=early, early_until=today + timedelta(days=terms.early_days) if early else None,
        seller=seller, buyer=buyer, subject=parties.subject(card, invoice.language),
        settled_at=clock.now() if invoice.total_gross + invoice.rounding == 0 else None,
        **{name: getattr(invoice, name) for name in TOTALS},
    )  # fmt: skip
    if card is not None and invoice.kind == Invoice.Kind.INVOICE:
        note_invoiced(card)
    record(
        by, "invoice.issued", invoice, root=card, number=invoice.number, gross=str(invoice.payable),
        currency=invoice.currency, override=override, **({"rates": rates} if rates else {}),
        **({"deposits_left_off": left_off} if left_off else {}),
    )  # fmt: skip
    announce("invoice.issued", invoice=invoice.pk)
    return invoice


def _check_unbilled(card: JobCard, by: Person, override: str) -> None:
    """What was closed without an invoice is billed by the owner's word alone."""
    if card.unbilled_at is None or card.invoiced_at is not None:
        return
    if override:
        require(by, "invoices.override")
        return
    raise NeedsOverride(
        f"Card {card.number} was closed without an invoice ({card.get_unbilled_reason_display()}). Discard this draft, or let "
        "the owner issue it and say why.",
        code="unbilled",
    )


def _check_done(card: JobCard, by: Person, override: str) -> None:
    """Nothing that belongs on the bill may still be moving: no clock, no part in hand at the bench."""
    running = [f"{b.person.name} on stage {b.stage.position}" for b in timebook.running(card_id=card.pk)]
    loose = [f"{d.part.number} ({d.left.normalize():f})" for d in draws.loose(card.pk)]  # type: ignore[attr-defined]
    if not running and not loose:
        return
    if override:
        require(by, "invoices.override")
        return
    said = []
    if running:
        said.append(f"clocks are running: {', '.join(running[:5])}. Clock off first")
    if loose:
        said.append(f"parts lie at the bench, neither fitted nor returned: {', '.join(loose[:10])}. Fit or return them")
    raise NeedsOverride(
        f"Card {card.number}: {'; '.join(said)}, or let the owner issue it and say why.",
        code="not-settled",
        running=running,
        loose=loose,
    )


def _check_billed_once(card: JobCard, lines: Iterable[InvoiceLine]) -> None:
    before = queries.billed(card.pk)
    again = [x for x in lines if x.estimate_line_id in before.estimate_lines and x.pricing == "fixed"]
    if again:
        raise Refused(
            f"Line {again[0].position} “{again[0].text}” stands on an issued invoice already. Remove it here.",
            code="billed-already",
            lines=[x.pk for x in again],
        )


def check_stated(invoice: Invoice, seller: dict[str, Any], buyer: dict[str, Any]) -> None:
    """What Article 226 of Directive 2006/112/EC asks an invoice to state must be known. Raises Refused naming what isn't.

    Points (3) seller's VAT number, (4) buyer's where the buyer is liable or it is an intra-Community supply, (5) names and
    addresses, (11) why no tax is due; and the country an intra-Community supply goes to (Art. 138; EN 16931 BR-IC-12), which
    is the buyer's. Refused, too: a deposit invoice over such a supply. What else a country asks for is for an adviser to say.
    """
    categories = {g["category"] for g in invoice.tax_groups}
    if "K" in categories and invoice.kind == Invoice.Kind.DEPOSIT:
        # Art. 67 takes these supplies out of Art. 65 (VAT on payments on account), Art. 220 (1)(4) asks for no invoice over
        # one, and BR-IC-11 wants a day or a period of supply, which a deposit has not
        raise Refused(
            "A payment on account of an intra-Community supply has no invoice of its own: VAT is due on the supply alone. "
            "Discard this draft, or remove its lines at that rate; ask for the money by the estimate, record it as a payment "
            "to the customer's credit, and set it against the invoice of the supply.",
            code="intra-community-deposit",
        )
    lacks = []
    if not seller["name"] or not seller["address"]:
        lacks.append("the business's name and address (page Business)")
    if not seller["vat_no"] and categories - {"O"}:
        lacks.append("the business's VAT number (page Business), or lines outside VAT only")
    if not buyer["address"]:
        lacks.append("the customer's address (page of the customer)")
    if categories & {"AE", "K"} and not buyer["vat_no"]:
        lacks.append("the customer's VAT number, since they owe the tax (page of the customer)")
    if "K" in categories and buyer["country"] in ("", seller["country"]):
        lacks.append(
            "the other country of the EU that an intra-Community supply goes to, as the country of the customer's address "
            "(page of the customer), or another VAT rate on its lines"
        )
    if any(g["category"] in ("E", "AE", "K", "G", "O") and not g["reason"] for g in invoice.tax_groups):
        lacks.append("the reason why no tax is due (page Business, VAT rates)")
    if lacks:
        raise Refused(
            f"An invoice must state: {'; '.join(lacks)}. Add it, then issue.", code="not-stated", missing=lacks
        )
