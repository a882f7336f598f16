"""A job that was agreed and done at Saltmarsh, and its invoice."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from inventory.parts.models import Part
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.invoices import actions
from jobs.invoices.models import Invoice, Payment
from jobs.machines.models import Customer
from jobs.timebook import actions as timebook
from shop.business import queries as business
from shop.kernel import clock
from shop.people.models import Person

from . import estimates, stock


def work(by: Person, on: Stage, hours: str, who: Person | None = None) -> None:
    """Start the stage if need be and book hours by hand, ending a minute ago or before what was booked before."""
    who = who or by
    if Stage.objects.get(pk=on.pk).started_at is None:
        cards.start_stage(on.pk, by=by)
    last = who.bookings.order_by("started_at").first()
    end = (last.started_at if last else clock.now()) - timedelta(minutes=1)
    timebook.book(
        by=by, person_id=who.pk, stage_id=on.pk, started_at=end - timedelta(minutes=int(Decimal(hours) * 60)),
        ended_at=end, break_minutes=0, reason="Clock forgotten",
    )  # fmt: skip


def use(by: Person, on: Stage, part: Part, quantity: str, cost: str = "40") -> None:
    """Receive, draw and fit so many of a part."""
    where = stock.bin_(by, at=business.default_site())
    stock.lot(by, part.pk, quantity, cost, at=where)
    drawn = draws.draw(by=by, stage_id=on.pk, part_id=part.pk, quantity=Decimal(quantity))
    for row in drawn.rows:
        draws.fit(row.pk, by=by, quantity=row.quantity)


def finished(by: Person, owner: Customer | None = None) -> JobCard:
    """The job of factories.estimates, agreed and done: 4 h on the first stage (3.5 estimated), 1.25 h on the second, two
    ring sets fitted."""
    card, fit, test, rings = estimates.job(by, owner)
    estimates.agreed(by, card)
    work(by, fit, "4")
    use(by, fit, rings, "2")
    cards.finish_stage(fit.pk, by=by)
    work(by, test, "1.25")
    cards.finish_stage(test.pk, by=by)
    return JobCard.objects.get(pk=card.pk)


def draft(by: Person, card: JobCard | None = None) -> Invoice:
    return actions.draft_invoice(by=by, card_id=(card or finished(by)).pk)


def issued(by: Person, card: JobCard | None = None) -> Invoice:
    return actions.issue_invoice(draft(by, card).pk, None, by=by)


def sale(by: Person, to: Customer | None = None, price: str = "100", **more: Any) -> Invoice:
    """An issued invoice without a card, of one line."""
    estimates.shop(by)
    found = actions.draft_invoice(by=by, customer_id=(to or estimates.customer()).pk)
    actions.add_line(found.pk, None, by=by, text="Exchange starter", unit_price=Decimal(price), **more)
    return actions.issue_invoice(found.pk, None, by=by)


def deposit(by: Person, card: JobCard, percent: str = "10") -> Invoice:
    """An issued deposit invoice over so much of what is agreed."""
    found = actions.draft_deposit(by=by, card_id=card.pk, percent=Decimal(percent))
    return actions.issue_invoice(found.pk, None, by=by)


def pay(by: Person, invoice: Invoice, amount: str, allocated: str | None = None) -> Payment:
    share = Decimal(allocated or amount)
    return actions.record_payment(
        by=by, customer_id=invoice.customer_id, amount=Decimal(amount), method="transfer", received_on=clock.today(),
        allocations={invoice.pk: share} if share else {},
    )  # fmt: skip
