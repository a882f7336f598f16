"""What an outside firm charges is recorded, or taken back. The card's row is the lock, then the supplier's."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from django.utils.timezone import localdate

from inventory.buying.actions.billing import lock_supplier, new_number
from jobs.cards.actions.locking import called, capital, lock_card, lock_stage
from shop.business.queries import profile
from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.money import Money, limit
from shop.kernel.rounding import minor_unit
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from . import queries
from .models import SubletBill

ZERO = Decimal(0)
OLDEST = timedelta(days=3 * 366)


@writes
def record_bill(
    *,
    by: Person,
    stage_id: int,
    supplier_id: int,
    number: str,
    dated_on: date,
    net: Decimal,
    tax: Decimal = ZERO,
    note: str = "",
) -> SubletBill:
    """Write down what an outside firm charges for a stage of the kind sublet: `net` before tax and `tax` as stated, in the
    shop's currency. It may come after the card was invoiced, handed over or cancelled: they want their money all the same.

    Raises NotFound (stage), BadInput (an unknown supplier, a number of theirs that was recorded before here or among
    suppliers' invoices, the day, amounts), Refused (another kind of stage, a removed one, a supplier that was
    put away).
    """
    stage = lock_stage(stage_id)
    if stage.removed_at:
        raise Refused(f"{capital(called(stage))} was taken off card {stage.card.number}.", code="stage-removed")
    if stage.kind != queries.SENT_OUT:
        raise Refused(
            f"{capital(called(stage))} is of the kind {stage.get_kind_display().lower()}. What an outside firm charges is recorded "
            "on stages of the kind sublet: change the kind of this one, or choose another.", code="not-sent-out",
        )  # fmt: skip
    supplier = lock_supplier(supplier_id)
    if supplier.archived_at is not None:
        raise Refused(f"{supplier.name} was put away. Take the supplier back first.", code="archived")
    number = new_number(supplier, number)
    today = clock.today()
    if not today - OLDEST <= dated_on <= today:
        raise field_error(
            "dated_on", "Give the day that stands on the invoice: today or before, within three years.", code="bad-day"
        )
    row = SubletBill.objects.create(
        stage=stage, supplier=supplier, number=number, dated_on=dated_on, net=_amount(net, "net", above=True),
        tax=_amount(tax, "tax"), note=clean_line(note, field="note", max_length=200), at=clock.now(), by=by,
    )  # fmt: skip
    record(
        by, "sublet.recorded", row, root=stage.card, stage=called(stage), supplier=supplier.name, number=number,
        net=str(row.net), tax=str(row.tax),
    )  # fmt: skip
    return row


@writes
def take_back(pk: int, *, by: Person, reason: str) -> SubletBill:
    """A bill was recorded wrongly: a row with its amounts below zero takes it back, and it can be recorded anew.

    Raises NotFound, BadInput (reason), Refused (taken back already, or itself what takes another back)."""
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    found = SubletBill.objects.filter(pk=pk).values_list("stage__card", flat=True).first()
    if found is None:
        raise NotFound("There is no such bill.")
    card = lock_card(found)
    row = queries.bill(pk)
    assert row is not None  # noqa: S101 - it is never deleted
    if row.reverses_id is not None:
        raise Refused("This row takes another back. Record the bill anew if it was right after all.", code="undone")
    if undone := SubletBill.objects.filter(reverses=row).select_related("by").first():
        raise Refused(
            f"{undone.by} took this bill back on {localdate(undone.at)}. Record it anew if it was right after all.",
            code="undone",
        )
    counter = SubletBill.objects.create(
        stage=row.stage, supplier=row.supplier, number=row.number, dated_on=row.dated_on, net=-row.net, tax=-row.tax,
        reverses=row, reason=reason, at=clock.now(), by=by,
    )  # fmt: skip
    record(
        by, "sublet.taken-back", counter, root=card, stage=called(row.stage), supplier=row.supplier.name, number=row.number,
        net=str(row.net), tax=str(row.tax), reason=reason,
    )  # fmt: skip
    return counter


def _amount(value: Decimal, field: str, *, above: bool = False) -> Decimal:
    currency = profile().currency
    amount = as_decimal(value, field)
    if amount < 0 or (above and not amount) or amount >= limit(currency) or not Money(amount, currency).is_payable:
        least = "above zero" if above else "of zero or more"
        raise field_error(
            field, f"Give an amount {least}, in steps of {minor_unit(currency)} {currency}.", code="bad-amount"
        )
    return amount
