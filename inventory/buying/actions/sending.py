"""An order goes out, and what the supplier says to it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from django.utils.timezone import localdate

from shop.business.queries import profile
from shop.documents.actions import keep_document
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from .. import printing
from ..models import OrderLine, PurchaseOrder
from .orders import lock_draft

LATEST = timedelta(days=3 * 366)


@writes
def send_order(pk: int, expect: int | None, *, by: Person, how: str = PurchaseOrder.How.MAIL) -> PurchaseOrder:
    """Number a draft and send it: `how` is mail (the PDF goes to the supplier's address), phone or printed (somebody tells
    them; the PDF is kept all the same). From here on its lines never change.

    Raises NotFound, Stale, BadInput (how), Refused (sent already, no lines, a price missing, an archived supplier, code
    "no-mail-address" for mail without an address).
    """
    if how not in PurchaseOrder.How.values:
        raise field_error("how", "Choose one of: " + ", ".join(PurchaseOrder.How.values) + ".", code="unknown-how")
    order = lock_draft(pk, expect)
    lines = list(order.lines.select_related("part", "offer"))
    supplier = order.supplier
    if not lines:
        raise Refused("It has no lines. Add at least one, or discard it.", code="no-lines")
    missing = [str(n) for n, line in enumerate(lines, start=1) if line.price is None]
    if missing:
        raise Refused(
            f"The price of line {', '.join(missing[:10])} is not known. Fill it in; 0 for what is free.",
            code="price-missing",
        )
    if supplier.archived_at is not None:
        raise Refused(f"{supplier.name} was put away. Take the supplier back first.", code="archived")
    if how == PurchaseOrder.How.MAIL and not supplier.email:
        raise Refused(
            f"{supplier.name} has no e-mail address. Add it on the supplier's page, or say that the order is sent by "
            "phone or printed.",
            code="no-mail-address",
        )
    today = clock.today()
    for line in lines:
        line.due_on = line.wanted_on or order.wanted_on or _by_lead_time(line, today)
    OrderLine.objects.bulk_update(lines, ["due_on"], batch_size=200)
    save_next(
        order,
        number=number("PO", "order", today.year), sent_at=clock.now(), sent_by=by, sent_how=how,
        sent_to=supplier.email if how == PurchaseOrder.How.MAIL else "",
        stated=printing.stated(order, profile(), contact=by.name),
    )  # fmt: skip
    record(by, "order.sent", order, number=order.number, how=how, to=order.sent_to, lines=len(lines))
    announce("order.sent", order=order.pk)
    return order


def _by_lead_time(line: OrderLine, today: date) -> date | None:
    days = line.offer.lead_days if line.offer and line.offer.lead_days is not None else line.order.supplier.lead_days
    return None if days is None else today + timedelta(days=days)


@writes
def deliver_order(order_id: int, pdf: bytes, name: str) -> None:
    """Keep the PDF of a sent order and queue its mail, if it goes by mail. The second time nothing happens."""
    order = PurchaseOrder.objects.select_for_update(of=("self",)).get(pk=order_id)
    file = keep_document(order, pdf, name, f"Order {order.number}")
    if file is None:
        return
    if order.sent_to:
        seller = order.stated["business"]
        announce(
            "mail.send",
            to=[order.sent_to],
            reply_to=seller["email"],
            subject=f"Order {order.number} from {seller['name']}",
            text=f"Dear {order.stated['supplier']['name']},\n\nattached is our order {order.number}. Please confirm it with "
            f"the days of delivery.\n\n{order.stated['contact']}\n{seller['name']}\n{seller['phone']}",
            attachments=[{"file": file.file.name, "name": name, "type": "application/pdf"}],
        )
        record(None, "order.mailed", order, number=order.number, to=order.sent_to)


@writes
def confirm_order(
    pk: int,
    expect: int | None,
    *,
    by: Person,
    confirmation_no: str = "",
    promised_on: date | None = None,
    promised: Mapping[int, date] | None = None,
) -> PurchaseOrder:
    """The supplier confirmed: all open lines for `promised_on`, or each line by `promised` (line id to day). May be repeated
    when they name other days. Raises NotFound, Stale, BadInput (an unknown line, a day before the order or far off), Refused
    (a draft, or nothing is awaited)."""
    order = lock_sent(pk, expect)
    lines = {line.pk: line for line in order.lines.filter(closed_at__isnull=True)}
    named = dict(promised or {})
    if unknown := named.keys() - lines.keys():
        raise BadInput(
            f"Line {min(unknown)} isn't awaited on this order. Look again.", code="unknown-line",
            fields={"promised": ["Names a line that isn't awaited."]},
        )  # fmt: skip
    earliest = localdate(order.sent_at) if order.sent_at else clock.today()
    for line in lines.values():
        day = named.get(line.pk, promised_on)
        if day is None:
            continue
        if day < earliest or day > clock.today() + LATEST:
            raise field_error(
                "promised_on", f"{day:%Y-%m-%d} can't be right. Give a day after the order.", code="bad-day"
            )
        line.promised_on = line.due_on = day
    OrderLine.objects.bulk_update(lines.values(), ["promised_on", "due_on"], batch_size=200)
    no = clean_line(confirmation_no, field="confirmation_no", max_length=60) or order.confirmation_no
    save_next(order, confirmed_at=clock.now(), confirmation_no=no)
    days = sorted({str(x.promised_on) for x in lines.values() if x.promised_on})
    record(by, "order.confirmed", order, confirmation_no=no, promised=days)
    return order


@writes
def chase_order(pk: int, expect: int | None, *, by: Person, how: str = "mail", note: str = "") -> PurchaseOrder:
    """Ask the supplier where it stays: by mail with the open lines, or by phone, noted with what they said.

    Raises NotFound, Stale, BadInput (how, a phone call without a note), Refused (nothing is awaited, no mail address).
    """
    order = lock_sent(pk, expect)
    note = clean_line(note, field="note", max_length=200, required=how == "phone")
    if how not in ("mail", "phone"):
        raise field_error("how", "Choose one of: mail, phone.", code="unknown-how")
    supplier = order.supplier
    if how == "mail":
        if not supplier.email:
            raise Refused(
                f"{supplier.name} has no e-mail address. Add it on the supplier's page, or call and note what they say.",
                code="no-mail-address",
            )
        announce(
            "mail.send",
            to=[supplier.email],
            reply_to=order.stated["business"]["email"],
            subject=f"Where is our order {order.number}?",
            text=_asking(order, note, by),
        )
    save_next(order, chased_at=clock.now())
    record(by, "order.chased", order, number=order.number, how=how, note=note)
    return order


def _asking(order: PurchaseOrder, note: str, by: Person) -> str:
    rows = []
    for line in order.lines.filter(closed_at__isnull=True).select_related("part"):
        due = f", due {line.due_on:%Y-%m-%d}" if line.due_on else ""
        open_ = f"{(line.open / line.per_package).normalize():f} {line.package}".strip()
        rows.append(f"- {open_} {line.number or line.part.number} {line.name}{due}")
    seller = order.stated["business"]
    sent = f"{localdate(order.sent_at)}"
    return "\n".join(
        [
            f"Dear {order.stated['supplier']['name']},", "",
            f"of our order {order.number} of {sent} we still await:", *rows, "",
            "Please tell us when it will come.", *([note] if note else []), "", by.name, seller["name"], seller["phone"],
        ]
    )  # fmt: skip


@writes
def close_order_line(line_id: int, expect: int | None, *, by: Person, reason: str) -> OrderLine:
    """What is still open of a line will not come or is no longer wanted. `expect` is the version of the order.

    Raises NotFound, Stale, BadInput, Refused (a draft, or nothing of it is awaited).
    """
    order_id = OrderLine.objects.filter(pk=line_id).values_list("order_id", flat=True).first()
    if order_id is None:
        raise NotFound("There is no such line.")
    order = lock_sent(order_id, expect)
    line = order.lines.select_related("part").get(pk=line_id)
    if line.closed_at is not None:
        raise Refused("Nothing of this line is awaited any more.", code="closed")
    _close(by, order, [line], reason)
    line.order = order
    return line


@writes
def close_order(pk: int, expect: int | None, *, by: Person, reason: str) -> PurchaseOrder:
    """Nothing more of the order will come. Raises as close_order_line."""
    order = lock_sent(pk, expect)
    _close(by, order, list(order.lines.filter(closed_at__isnull=True).select_related("part")), reason)
    return order


def _close(by: Person, order: PurchaseOrder, lines: list[OrderLine], reason: str) -> None:
    reason = clean_line(reason, field="reason", required=True, max_length=200)
    for line in lines:
        record(by, "order.line-closed", line, root=order, reason=reason, open=plain(line.open))
        line.closed_at, line.closed_reason = clock.now(), reason
        line.save(update_fields=["closed_at", "closed_reason"])
    settle(order)


def settle(order: PurchaseOrder) -> None:
    """Whether anything of the order is still awaited, after its lines changed. The order is locked."""
    awaited = order.lines.filter(closed_at__isnull=True).exists()
    save_next(order, closed_at=None if awaited else order.closed_at or clock.now())


def lock_sent(order_id: int, expect: int | None) -> PurchaseOrder:
    """Raises NotFound, Stale, Refused for a draft and when nothing is awaited any more."""
    order: Any = claim(PurchaseOrder, order_id, expect)
    if order.sent_at is None:
        raise Refused("This order is still a draft. Send it first.", code="not-sent")
    if order.closed_at is not None:
        raise Refused(f"Nothing of order {order.number} is awaited any more.", code="closed")
    return order
