"""A month of work at Saltmarsh that touches every kind of posting."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D

from inventory.buying import actions as buying
from inventory.stock import actions as stock
from inventory.stock.models import Lot
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.invoices import actions as invoices
from jobs.invoices.models import Invoice
from shop.business import queries as business
from shop.kernel import clock
from shop.people.models import Person

from . import estimates as quote
from . import invoices as make
from . import stock as shelf

OCTOBER = datetime(2026, 10, 12, 9, tzinfo=UTC)
NOVEMBER = datetime(2026, 11, 10, 9, tzinfo=UTC)


def month(by: Person, begins: datetime = OCTOBER) -> Invoice:
    """A job done, invoiced and overpaid, the rest set against a sale; a credit note; a job that goes on; stock received,
    billed otherwise than received, scrapped, counted, sent back; a card cancelled. Answers the job's invoice."""
    with clock.at(begins):
        card = make.finished(by)
        used = Lot.objects.order_by("pk").first()
        assert used is not None
        where = shelf.bin_(by, at=business.default_site())
        rings = used.part
        more = shelf.lot(by, rings.pk, "10", "41.333333", at=where)
    with clock.at(begins + timedelta(days=1)):
        invoice = make.issued(by, card)
    with clock.at(begins + timedelta(days=1, hours=1)):
        stock.revalue(by=by, lot_id=used.pk, new_unit_cost=D("43.5"), reason="Late invoice")
    with clock.at(begins + timedelta(days=2)):
        due = invoice.total_gross + invoice.rounding
        paid = make.pay(by, invoice, str(due + 50), str(due))
        sold = make.sale(by, invoice.customer)
    with clock.at(begins + timedelta(days=2, hours=1)):
        invoices.allocate(by=by, payment_id=paid.pk, allocations={sold.pk: D(30)})
        invoices.credit_note(sold.pk, by=by, reason="Returned")
        invoices.refund(by=by, customer_id=invoice.customer_id, amount=D(10), method="cash", paid_on=clock.today())
    with clock.at(begins + timedelta(days=3)):
        _goes_on, fit = job(by)
        make.work(by, fit, "2")
        taken = draws.draw(by=by, stage_id=fit.pk, part_id=rings.pk, quantity=D(3))
        draws.put_back(taken.rows[0].pk, by=by, quantity=D(1))
        stock.revalue(by=by, lot_id=more.pk, new_unit_cost=D("40.1"), reason="Late invoice")
        stock.scrap(by=by, lot_id=more.pk, bin_id=where.pk, quantity=D(1), reason="Dropped")
        stock.count(by=by, lot_id=more.pk, bin_id=where.pk, counted=D(8), reason="Count")
        gone, strip = job(by)
        cards.start_stage(strip.pk, by=by)
        draws.draw(by=by, stage_id=strip.pk, part_id=rings.pk, quantity=D(1))
        cards.cancel_card(gone.pk, by=by, reason="Sold as it is")
        bill(by, rings.pk, where.pk)
    return invoice


def job(by: Person) -> tuple[JobCard, Stage]:
    """Another card, agreed to."""
    found = quote.card(by)
    fit = quote.stage(by, found)
    quote.agreed(by, found)
    return found, fit


def bill(by: Person, part_id: int, bin_id: int) -> None:
    supplier = buying.add_supplier(name="Tern & Daughter Marine Spares", by=by)
    came = buying.open_receipt(by=by, supplier_id=supplier.pk, delivery_note="4711", bin_id=bin_id)
    line = buying.add_receipt_line(came.pk, None, by=by, part_id=part_id, quantity=D(4), price=D(40))
    buying.accept_over(line.pk, by=by, reason="Asked for")
    buying.post_receipt(came.pk, None, by=by)
    buying.send_back(by=by, receipt_line_id=line.pk, bin_id=bin_id, quantity=D(1), reason="Scratched")
    buying.record_supplier_invoice(
        by=by, supplier_id=supplier.pk, number="R-1", dated_on=clock.today(), total=D(126), tax=D("28.98"),
        lines=[buying.Billed(line.pk, quantity=D(3), price=D(42))],
    )  # fmt: skip
