"""What a draft leaves out until the owner says that it is charged all the same."""

from __future__ import annotations

from jobs.estimates import entries
from jobs.estimates.gathering import Prices
from shop.kernel.errors import Refused
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import billing, gathering
from ..billing import Bill
from ..models import InvoiceLine
from .drafting import settle, take_over_discount
from .locking import lock_draft


@writes
def charge_unagreed(
    invoice_id: int,
    expect: int | None,
    *,
    by: Person,
    kind: str,
    stage_id: int | None = None,
    part_id: int | None = None,
    estimate_line_id: int | None = None,
    reason: str,
) -> InvoiceLine:
    """Put hours or a part that the customer never agreed to onto a draft all the same, the part with its charges: an owner's
    decision, with a reason that is kept.

    `estimate_line_id`: labour that was agreed by what is done and names no stage, so that no hours can be booked on it; it is
    charged as it was agreed, once. Raises NotFound, Stale, BadInput, NotAllowed, Refused when there is no such thing left out.
    """
    require(by, "invoices.override")
    reason = clean_line(reason, field="reason", required=True)
    invoice = lock_draft(invoice_id, expect)
    if invoice.card is None:
        raise Refused("This invoice is for no card: add a line instead.")
    job = gathering.job(invoice.card)
    lines = list(invoice.lines.all())
    wanted = (kind, stage_id, part_id, estimate_line_id)
    left = next(
        (
            x for x in job.result.left_out
            if x.reason in billing.BY_OWNER and (x.kind, x.stage, x.part, x.line) == wanted
        ),
        None,
    )  # fmt: skip
    if left is None or job.is_charged(left, lines):
        raise Refused("There is nothing of this kind left to charge. Load the page again.", code="nothing-left-out")
    prices = Prices(customer_class=invoice.customer.customer_class)
    why = "owner" if left.reason == billing.UNAGREED else left.reason
    bill = Bill(kind, left.quantity, left.line, left.stage, left.part, why=why)
    new = gathering.rows(invoice, len(lines), gathering.items([bill], job, prices), not_agreed=reason)
    entries.refuse_too_many(len(lines) + len(new))
    if not invoice.discount_percent:
        for line in new:
            take_over_discount(line)
    settle(invoice, [*lines, *new], changed=new)
    for line in new:
        record(
            by, "invoice.unagreed-charged", line, root=invoice.card, text=line.text, net=str(line.net), reason=reason
        )
    return new[0]
