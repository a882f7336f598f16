"""Money that comes in, what it settles, and money that goes back."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime
from decimal import Decimal

from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.closed import must_be_open
from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.money import Money, limit
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import queries, terms
from ..models import Allocation, Invoice, Payment
from .discounting import charge_again, check_early, credit_early
from .locking import lock_account, lock_issued, lock_payment
from .settling import keep_credit, settle

ZERO = Decimal(0)
OLDEST = 2 * 366  # days
METHODS = tuple(value for value, _ in Payment.BY_HAND)


@writes
def record_payment(
    *,
    by: Person,
    customer_id: int,
    amount: Decimal,
    method: str,
    received_on: date,
    reference: str = "",
    allocations: Mapping[int, Decimal] | None = None,
    early: Collection[int] = (),
) -> Payment:
    """Money of a customer came in. `allocations`: how much of it settles which invoice; the rest stays to their credit.

    `early`: those of them that are paid with the discount they offer, which is credited with the same write. Cash that
    settles invoices whole may be rounded to the step of the payment terms: the difference is a row of its own.
    Raises NotFound, BadInput (amount, method, received_on; an allocation that isn't this customer's, is above what is owed
    on the invoice, or all of them above the payment), Refused for a draft or credit note, or a discount that isn't due.
    """
    currency = business.profile().currency
    _check_amount(amount, currency)
    reference = clean_line(reference, field="reference", max_length=120)
    _check_method(method)
    _check_day(received_on)
    must_be_open(received_on, field="received_on")
    given = dict(allocations or {})
    invoices = lock_account(customer_id, given)
    off = _early(invoices, given, early, received_on)
    difference = _cash_difference(invoices, given, off, amount) if method == Payment.Method.CASH else ZERO
    payment = Payment.objects.create(
        customer_id=customer_id, amount=amount, currency=currency, method=method, received_on=received_on,
        reference=reference, by=by, at=clock.now(),
    )  # fmt: skip
    rounded = None
    if difference:
        rounded = Payment.objects.create(
            customer_id=customer_id, amount=difference, currency=currency, method=Payment.Method.ROUNDING,
            received_on=received_on, rounds=payment, by=by, at=clock.now(),
        )  # fmt: skip
    if rounded is not None and difference > 0:
        largest = max(given, key=lambda pk: given[pk])
        shares = {pk: share - difference if pk == largest else share for pk, share in given.items()}
        _allocate(invoices, shares, customer_id, currency, amount, payment=payment, at=payment.at)
        _allocate(invoices, {largest: difference}, customer_id, currency, difference, payment=rounded, at=rounded.at)
    else:
        _allocate(invoices, given, customer_id, currency, amount, payment=payment, at=payment.at)
    for pk, discount in off.items():
        credit_early(invoices[pk], discount, by=by)
    keep_credit(customer_id)
    record(
        by, "payment.recorded", payment, amount=str(amount), currency=currency, method=method,
        invoices={invoices[pk].number: str(share) for pk, share in given.items()},
    )  # fmt: skip
    return payment


@writes
def allocate(
    *, by: Person, allocations: Mapping[int, Decimal], payment_id: int | None = None, credit_note_id: int | None = None
) -> Payment | Invoice:
    """Let what is left of a payment, or of a credit note, settle invoices of the same customer. Raises as
    `record_payment`."""
    if (payment_id is None) == (credit_note_id is None):
        raise field_error("payment_id", "Give either a payment or a credit note.", code="one-source")
    if not allocations:
        raise field_error("allocations", "Name at least one invoice.", code="no-allocations")
    source: Payment | Invoice
    if payment_id is not None:
        source = payment = lock_payment(payment_id)
        if payment.reverses_id or Payment.objects.filter(reverses=payment).exists():
            raise Refused("This payment was reversed, so it settles nothing.", code="reversed")
        invoices = lock_account(payment.customer_id, allocations)
        free = queries.unused(payment)
        _allocate(invoices, allocations, payment.customer_id, payment.currency, free, payment=payment)
    else:
        source = note = lock_issued(credit_note_id or 0)
        if note.kind != Invoice.Kind.CREDIT:
            raise field_error("credit_note", "This is not a credit note.", code="not-credit")
        invoices = lock_account(note.customer_id, allocations)
        free = queries.unused(note)
        _allocate(invoices, allocations, note.customer_id, note.currency, free, credit_note=note)
    keep_credit(source.customer_id)
    record(
        by, "payment.allocated", source,
        invoices={invoices[pk].number: str(share) for pk, share in allocations.items()},
    )  # fmt: skip
    return source


@writes
def reverse_payment(payment_id: int, *, by: Person, reason: str) -> Payment:
    """The payment was wrong or bounced: a counter-row takes it and all it settled back. An invoice that was settled with the
    discount for paying early is owed whole again: a debit note charges the discount. Raises NotFound, BadInput (reason),
    Refused when it was reversed already or is a reversal, or when its money went back to the customer meanwhile."""
    reason = clean_line(reason, field="reason", required=True, max_length=120)
    payment = lock_payment(payment_id)
    if payment.reverses_id:
        raise Refused("This is a reversal itself. Record a new payment instead.", code="reversed")
    if payment.rounds_id:
        raise Refused(
            "This is the rounding of a payment in cash. Reverse that payment; this goes with it.", code="rounding"
        )
    if Payment.objects.filter(reverses=payment).exists():
        raise Refused("This payment was reversed already.", code="reversed")
    given = list(payment.allocations.all())
    invoices = lock_account(payment.customer_id, {a.invoice_id for a in given})
    rounded = Payment.objects.filter(rounds=payment).first()
    free = payment.amount - sum((a.amount for a in given), ZERO) + min(ZERO, rounded.amount if rounded else ZERO)
    if free > 0 and queries.free_credit(payment.customer_id) < free:
        raise Refused(
            "Part of this payment has been paid back. Reverse the refund first, then this.", code="refunded-meanwhile"
        )
    back = _reversal(payment, reason, by)
    if rounded is not None:
        _reversal(rounded, reason, by)
    again = [charge_again(invoice, by=by) for invoice in invoices.values()]
    keep_credit(payment.customer_id)
    record(
        by, "payment.reversed", back, amount=str(back.amount), of=payment.pk, reason=reason,
        charged_again=[note.number for note in again if note],
    )  # fmt: skip
    return back


def _reversal(payment: Payment, reason: str, by: Person) -> Payment:
    """The counter-row of a payment, with what it settled."""
    back = Payment.objects.create(
        customer_id=payment.customer_id, amount=-payment.amount, currency=payment.currency, method=payment.method,
        received_on=clock.today(), reference=reason, reverses=payment, by=by, at=clock.now(),
    )  # fmt: skip
    for a in payment.allocations.all():
        Allocation.objects.create(invoice_id=a.invoice_id, payment=back, amount=-a.amount, at=back.at)
        settle(a.invoice)
    return back


def _early(
    invoices: Mapping[int, Invoice], given: Mapping[int, Decimal], early: Collection[int], received_on: date
) -> dict[int, Decimal]:
    """The discount by invoice."""
    found = {}
    for pk in early:
        if pk not in given or pk not in invoices or invoices[pk].kind == Invoice.Kind.CREDIT:
            raise field_error(
                "allocations", "The discount is for an invoice that this payment settles.", code="unknown-invoice"
            )
        found[pk] = check_early(invoices[pk], given[pk], received_on)
    return found


def _cash_difference(
    invoices: Mapping[int, Invoice], given: Mapping[int, Decimal], off: Mapping[int, Decimal], amount: Decimal
) -> Decimal:
    """Only where every invoice named is settled whole; see `terms.cash_difference`."""
    whole = all(
        pk in invoices and share + off.get(pk, ZERO) == queries.outstanding(invoices[pk]) for pk, share in given.items()
    )
    if not given or not whole:
        return ZERO
    return terms.cash_difference(sum(given.values(), ZERO), amount, business.money_terms().cash_step)


@writes
def refund(
    *, by: Person, customer_id: int, amount: Decimal, method: str, paid_on: date, reference: str = ""
) -> Payment:
    """Money goes back to a customer: at most what stands to their credit, and not before it did. Kept as a payment below zero.

    Raises NotFound, BadInput (amount, method, paid_on), Refused when it is more than their credit.
    """
    currency = business.profile().currency
    _check_amount(amount, currency)
    _check_method(method)
    _check_day(paid_on, "paid_on")
    must_be_open(paid_on, field="paid_on")
    reference = clean_line(reference, field="reference", max_length=120)
    lock_account(customer_id)
    free = queries.free_credit(customer_id)
    if amount > free:
        raise Refused(
            f"Only {Money(max(free, ZERO), currency)} stand to this customer's credit. Credit an invoice first.",
            code="more-than-credit",
            free=str(free),
        )
    since = queries.credit_stands_since(customer_id, amount)
    if since is not None and paid_on < since:
        raise field_error(
            "paid_on",
            f"{Money(amount, currency)} stand to this customer's credit since {since.isoformat()} only. Give that day or a "
            "later one.",
            code="before-credit",
        )
    row = Payment.objects.create(
        customer_id=customer_id, amount=-amount, currency=currency, method=method, received_on=paid_on,
        reference=reference, by=by, at=clock.now(),
    )  # fmt: skip
    keep_credit(customer_id)
    record(by, "payment.refunded", row, amount=str(amount), currency=currency, method=method)
    return row


def _allocate(
    invoices: Mapping[int, Invoice],
    given: Mapping[int, Decimal],
    customer_id: int,
    currency: str,
    free: Decimal,
    *,
    payment: Payment | None = None,
    credit_note: Invoice | None = None,
    at: datetime | None = None,
) -> None:
    """Write allocations of at most `free` in all, each of at most what its locked invoice still owes. `at`: when the payment
    was written that they belong to; else they are a deed of their own, of now."""
    for pk, share in given.items():
        invoice = invoices.get(pk)
        if invoice is None or invoice.customer_id != customer_id:
            raise field_error("allocations", "An invoice named isn't this customer's.", code="unknown-invoice")
        if invoice.issued_at is None or invoice.kind == Invoice.Kind.CREDIT:
            raise Refused("Only issued invoices can be paid.", code="not-payable")
        if invoice.currency != currency:
            raise field_error("allocations", f"{invoice.number} is in {invoice.currency}.", code="mixed-currencies")
        _check_amount(share, currency, "allocations", f"{invoice.number}: ")
        left = queries.outstanding(invoice)
        if share > left:
            raise BadInput(
                f"On {invoice.number} only {Money(left, currency)} is still to pay, not {Money(share, currency)}. Allocate at most "
                "that; the rest stays to the customer's credit.",
                code="over-allocated",
                fields={"allocations": [f"{invoice.number}: at most {Money(left, currency)}"]},
                invoice_id=pk,
                outstanding=str(left),
            )
    if sum(given.values(), ZERO) > free:
        raise field_error("allocations", f"Only {Money(free, currency)} is there to allocate.", code="over-allocated")
    now = at or clock.now()
    for pk, share in given.items():
        Allocation.objects.create(invoice_id=pk, payment=payment, credit_note=credit_note, amount=share, at=now)
        settle(invoices[pk])


def _check_amount(amount: Decimal, currency: str, field: str = "amount", of: str = "") -> None:
    """`of`: what the amount is for, before what is said."""
    if not amount.is_finite() or amount <= 0:
        raise field_error(field, f"{of}Give an amount above zero.", code="not-positive")
    if amount >= limit(currency):
        raise field_error(field, f"{of}This amount is too large to be right.", code="too-large")
    if not Money(amount, currency).is_payable:
        raise field_error(
            field, f"{of}{plain(amount)} has more decimals than {currency}. Round it.", code="too-many-decimals"
        )


def _check_method(method: str) -> None:
    if method not in METHODS:
        raise field_error("method", "Choose one of: " + ", ".join(METHODS) + ".", code="unknown-method")


def _check_day(day: date, field: str = "received_on") -> None:
    today = clock.today()
    if day > today:
        raise field_error(field, "This lies in the future. Give the day the money moved.", code="in-the-future")
    if (today - day).days > OLDEST:
        raise field_error(field, "This lies more than two years back. Check the year.", code="too-far")
