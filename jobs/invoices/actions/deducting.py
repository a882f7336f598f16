"""Taking deposits off the invoice that follows them, on its draft and once more when it is issued."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal

from jobs.estimates.gathering import Prices, reasons
from shop.documents.formatting import Formatter
from shop.kernel.decimals import plain
from shop.kernel.errors import NeedsOverride, Questions, Refused
from shop.kernel.money import Money
from shop.kernel.rights import require
from shop.kernel.totals import Vat
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import deposits, gathering, prepaid, queries
from ..deposits import Share
from ..figures import TOTALS, reckon
from ..models import Invoice, InvoiceLine
from . import supply
from .locking import lock_draft

ZERO = Decimal(0)
DEDUCTED = {"en": "Deposit invoice {number} of {on}", "de": "Anzahlungsrechnung {number} vom {on}"}
OTHER_RATE = (
    "Deposit invoice {number} was charged at {its} % VAT, and what it was for is charged at {ours} % here, the rate on the day "
    "of supply, so it can't be taken off. Credit {number}: what was paid of it then stands to the customer's credit and can be "
    "set against this invoice once it is issued"
)


@writes
def take_off_deposits(invoice_id: int, expect: int | None, *, by: Person) -> Invoice:
    """Take off a draft what deposit invoices of its card charged already (of its customer, when it is for no card): of each
    VAT rate, as of the day of supply, at most what the draft charges. Done anew each time.

    Raises NotFound, Stale, Refused (nothing to take off, or only at a rate that has changed since)."""
    invoice = lock_draft(invoice_id, expect)
    if invoice.kind != Invoice.Kind.INVOICE:
        raise Refused("Deposits are taken off an invoice, not off another deposit.", code="not-an-invoice")
    lines = list(invoice.lines.all())
    charged = [x for x in lines if not x.deducts_id]
    prices = supply.rate(invoice, lines)
    left = prepaid.left_for(invoice)
    rows = take_off(invoice, lines, left, prices)
    if len(charged) == len(lines) and not rows:
        other = at_another_rate(left, charged)
        if other:
            raise Refused(f"{_other_rate(other[0], charged)}.", code="deposit-other-rate")
        raise Refused(
            "No issued deposit invoice has anything left at the VAT rates of this invoice.", code="no-deposit-left"
        )
    InvoiceLine.objects.bulk_update(charged, ["tax_category", "tax_percent"], batch_size=200)
    save_next(invoice, **{name: getattr(invoice, name) for name in TOTALS})
    record(
        by, "invoice.deposits-taken-off", invoice, root=invoice.card,
        net=str(-sum((x.net for x in rows), ZERO)), deposits=sorted({x.basis["deposit"] for x in rows}),
    )  # fmt: skip
    return invoice


def take_off(
    invoice: Invoice, lines: Sequence[InvoiceLine], left: Sequence[Share], prices: Prices
) -> list[InvoiceLine]:
    """Take these deposits off in place of what the draft took off before, and reckon it. Answers the new lines."""
    charged = [x for x in lines if not x.deducts_id]
    rows = deduction_lines(invoice, charged, left)
    InvoiceLine.objects.filter(pk__in=[x.pk for x in lines if x.deducts_id]).delete()
    reckon(invoice, [*charged, *rows], reasons((x.tax_code for x in [*charged, *rows]), prices, invoice.language))
    InvoiceLine.objects.bulk_create(rows)
    return rows


def deduction_lines(invoice: Invoice, charged: Sequence[InvoiceLine], left: Sequence[Share]) -> list[InvoiceLine]:
    """Unsaved lines that take deposits off a draft which charges these lines."""
    taken = deposits.take(left, charged, invoice.discount_percent, invoice.currency)
    words = DEDUCTED.get(invoice.language, DEDUCTED["en"])
    write = Formatter(invoice.language, invoice.currency)
    return [
        gathering.lump(
            invoice,
            len(charged) + n,
            words.format(number=share.number, on=write.short_day(share.on)),
            share.net,
            share.tax_code,
            share.vat,
            {"quantity": "deposit", "price": "deposit", "deposit": share.number, "tax": str(share.tax)},
            times=-1,
            deducts_id=share.deposit,
        )
        for n, share in enumerate(taken, start=1)
    ]


def retake(
    invoice: Invoice, lines: Sequence[InvoiceLine], before: Collection[Vat], prices: Prices
) -> list[InvoiceLine]:
    """The lines of an invoice whose VAT rates became others when it was issued, its deposits taken off anew: those that it took
    off, and those at rates that the draft didn't have (`before`). What was removed from it stays removed. The account is
    locked by the caller."""
    had = {x.deducts_id for x in lines if x.deducts_id}
    left = [x for x in prepaid.left_for(invoice) if x.deposit in had or x.vat not in before]
    return [*(x for x in lines if not x.deducts_id), *take_off(invoice, lines, left, prices)]


def check_deposits(invoice: Invoice, lines: Sequence[InvoiceLine], by: Person, override: str) -> list[str]:
    """What an invoice takes off was charged, is left, and was paid; and nothing that it could take off is forgotten. The
    account is locked by the caller. Answers which deposits are left off by the owner's word.

    Raises Refused, NotAllowed, NeedsOverride.
    """
    every = {x.pk: x for x in prepaid.deposits(card_id=invoice.card_id, customer_id=invoice.customer_id)}
    if not every:
        return []
    left = prepaid.left(every.values())
    taken = [x for x in lines if x.deducts_id]
    _check_taken(invoice, taken, left)
    unpaid = [
        (x.number, queries.outstanding(x))
        for x in (every[pk] for pk in sorted({x.deducts_id for x in taken if x.deducts_id}))
        if queries.outstanding(x) > 0
    ]
    questions = Questions()
    with questions.noted():
        if unpaid and not override:
            raise NeedsOverride(
                f"Deposit invoice {unpaid[0][0]} isn't paid: {Money(unpaid[0][1], invoice.currency)} is open. Record the "
                "payment; or credit what wasn't paid and take the deposits off anew, so that it is charged here; or let the "
                "owner issue it and say why.",
                code="deposit-not-paid",
                deposits=[number for number, _ in unpaid],
            )
    rest = _rest(left, taken)
    charged = [x for x in lines if not x.deducts_id]
    forgotten = _forgotten(invoice, rest, taken, {x.pk for x in every.values() if _since(x, invoice)})
    with questions.noted():
        if forgotten and not override:
            raise NeedsOverride(
                f"Of deposit invoice {forgotten[0].number} {Money(forgotten[0].net, invoice.currency)} without VAT could be taken "
                "off and isn't: it was issued, or this draft grew, since deposits were taken off. Take deposits off, or let the "
                "owner issue it without and say why not.",
                code="deposit-left",
                deposits=sorted({x.number for x in forgotten}),
            )
    other = at_another_rate(rest, charged)
    if invoice.card_id is None:  # nothing but a deduction ties such a sale to a deposit of the customer
        named = {x.deducts_id for x in taken}
        other = [x for x in other if x.deposit in named]
    with questions.noted():
        if other and not override:
            raise NeedsOverride(
                f"{_other_rate(other[0], charged)}; or let the owner issue it without and say why.",
                code="deposit-other-rate",
                deposits=sorted({x.number for x in other}),
            )
    questions.ask()
    if unpaid or forgotten or other:
        require(by, "invoices.override")
    return sorted({x.number for x in [*forgotten, *other]})


def _check_taken(invoice: Invoice, taken: Iterable[InvoiceLine], left: Iterable[Share]) -> None:
    """Raises Refused."""
    there = {(x.deposit, x.vat): (x.net, x.tax) for x in left}
    for line in taken:
        net, tax = there.get((line.deducts_id or 0, _vat(line)), (ZERO, ZERO))
        if -line.net > net or Decimal(line.basis["tax"]) > tax:
            raise Refused(
                f"Of deposit invoice {line.basis['deposit']} less is left than this draft takes off: it was taken off or "
                "credited meanwhile. Take the deposits off anew.",
                code="deducted-meanwhile",
                deposit_id=line.deducts_id,
            )
    if taken and any(Decimal(g["base"]) < 0 for g in invoice.tax_groups):
        raise Refused(
            "At one VAT rate more deposit is taken off than is charged. Take the deposits off anew.",
            code="deposit-too-large",
        )


def _rest(left: Iterable[Share], taken: Iterable[InvoiceLine]) -> list[Share]:
    """What of deposits is left once these lines take theirs off."""
    off = {(x.deducts_id, _vat(x)): x.net for x in taken}
    rest = [deposits.less(x, -off.get((x.deposit, x.vat), ZERO)) for x in left]
    return [x for x in rest if x.net > 0]


def _forgotten(
    invoice: Invoice, rest: Iterable[Share], taken: Iterable[InvoiceLine], since: Collection[int]
) -> list[Share]:
    """What this invoice could still take off at a rate where it charges something: of deposits that were issued `since` it was
    drafted, or that it takes off in part. One that was there and isn't taken off was removed on purpose."""
    room = {Vat(g["category"], Decimal(g["percent"])): Decimal(g["base"]) for g in invoice.tax_groups}
    mine = {(x.deducts_id, _vat(x)) for x in taken}
    return [
        x for x in rest if room.get(x.vat, ZERO) > 0 and (x.deposit in since or (x.deposit, x.vat) in mine)
    ]  # fmt: skip


def at_another_rate(left: Iterable[Share], charged: Iterable[InvoiceLine]) -> list[Share]:
    """Deposits for what these lines charge at another VAT rate only: it changed in between."""
    rates: dict[str, set[Vat]] = {}
    for line in charged:
        rates.setdefault(line.tax_code, set()).add(_vat(line))
    every = {vat for its in rates.values() for vat in its}
    return [x for x in left if x.tax_code in rates and x.vat not in every]


def _other_rate(share: Share, charged: Iterable[InvoiceLine]) -> str:
    ours = next(x.tax_percent for x in charged if x.tax_code == share.tax_code)
    return OTHER_RATE.format(number=share.number, its=plain(share.vat.rate.normalize()), ours=plain(ours.normalize()))


def _since(deposit: Invoice, invoice: Invoice) -> bool:
    return deposit.issued_at is not None and deposit.issued_at > invoice.created_at


def _vat(line: InvoiceLine) -> Vat:
    return Vat(line.tax_category, line.tax_percent)
