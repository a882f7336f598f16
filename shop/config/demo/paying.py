"""Invoices and payments of the invented shop."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from inventory.parts.models import Part
from jobs.accounts import actions as accounts
from jobs.accounts import queries as owing
from jobs.cards import actions as cards
from jobs.cards.models import JobCard
from jobs.invoices import actions as invoices
from jobs.invoices.models import Invoice
from jobs.invoices.terms import early_discount
from jobs.machines.models import Machine
from jobs.plans.models import WorkPlan
from jobs.timebook import actions as time
from shop.business import actions as business
from shop.kernel import clock

from .ground import opening, workday
from .jobs import Bench, Story


def bill(story: Story, card: JobCard, moment: datetime) -> Invoice:
    with clock.at(moment):
        draft = invoices.draft_invoice(by=story.office, card_id=card.pk)
        return invoices.issue_invoice(draft.pk, None, by=story.office)


def pay(story: Story, invoice: Invoice, moment: datetime, part: Decimal = Decimal(1)) -> None:
    amount = (invoice.total_gross * part).quantize(Decimal("0.01"))
    with clock.at(moment):
        invoices.record_payment(
            by=story.office, customer_id=invoice.customer_id, amount=amount, method="transfer",
            received_on=moment.date(), reference=invoice.number, allocations={invoice.pk: amount},
        )  # fmt: skip


def bill_and_hand_over(story: Story, card: JobCard, done: datetime, *, late: int) -> None:
    invoice = bill(story, card, done + timedelta(minutes=20))
    with clock.at(done + timedelta(minutes=40)):
        time.hand_over(card.pk, by=story.office)
    pay(story, invoice, done + timedelta(days=late))


def leave_one_unpaid(story: Story, moment: datetime) -> None:
    """A pump overhaul billed weeks ago, paid in part; and one that was credited because the seal failed."""
    plan = WorkPlan.objects.get(code="PUMP-OH")
    for number, machine in enumerate(Machine.objects.filter(kind="pump").order_by("pk")[1:3]):
        opened = opening(moment + timedelta(days=number))
        card = story.open(machine, plan, opened)
        story.agree(story.estimate(card, opened + timedelta(hours=1)), opened + timedelta(hours=2))
        bench = Bench(story.owner, opened + timedelta(hours=3))
        for stage in card.stages.order_by("position"):
            story.work(stage, bench)
        with clock.at(bench.free + timedelta(minutes=5)):
            cards.finish_card(card.pk, by=story.office)
        invoice = bill(story, card, bench.free + timedelta(minutes=20))
        with clock.at(bench.free + timedelta(minutes=40)):
            time.hand_over(card.pk, by=story.office)
        if number == 0:
            pay(story, invoice, bench.free + timedelta(days=10), Decimal("0.4"))
        else:
            with clock.at(bench.free + timedelta(days=6)):
                invoices.credit_note(invoice.pk, by=story.owner, reason="Shaft seal leaked again within the week")


def remind(story: Story, moment: datetime) -> None:
    """Invented terms, a first letter to whoever is late, and one of them who says that the pump still leaks."""
    with clock.at(moment):
        business.edit_money_terms(
            None, by=story.owner, remind_fee_2=Decimal(5), remind_fee_3=Decimal(10), interest_percent=Decimal(8),
            storage_per_day=Decimal(4), early_percent=Decimal(2), early_days=8,
        )  # fmt: skip
        letters = [accounts.send_reminder(by=story.office, customer_id=p.customer.pk) for p in owing.proposals()]
    with clock.at(moment + timedelta(hours=2)):
        if letters:
            line = letters[0].lines.order_by("invoice_id")[0]
            accounts.raise_dispute(
                by=story.office, invoice_id=line.invoice_id, reason="The pump drips at the seal again"
            )


def deposits(story: Story, paid: JobCard, open_: JobCard, today: datetime) -> None:
    """A third or so is asked for before the work: paid by one customer, not yet by the other."""
    for card in (open_, paid):
        with clock.at(workday(today, 2)):
            draft = invoices.draft_deposit(by=story.office, card_id=card.pk, percent=Decimal(30))
            asked = invoices.issue_invoice(draft.pk, None, by=story.office)
    pay(story, asked, workday(today, 1))


def paid_early(story: Story, customer_id: int, today: datetime) -> None:
    """Parts over the counter, paid on the next day with the discount for it. Of the old ones that the deposit is for, one came
    back broken."""
    with clock.at(workday(today, 2) + timedelta(hours=3)):
        draft = invoices.draft_invoice(by=story.office, customer_id=customer_id)
        nozzle = Part.objects.get(number="INJ-521")
        invoices.add_line(draft.pk, None, by=story.office, part_id=nozzle.pk, quantity=Decimal(2))
        sold = invoices.issue_invoice(draft.pk, None, by=story.office)
    whole = sold.total_gross + sold.rounding
    amount = whole - early_discount(whole, sold.early_percent, sold.currency)
    with clock.at(workday(today, 1) + timedelta(hours=1)):
        invoices.record_payment(
            by=story.office, customer_id=customer_id, amount=amount, method="transfer", received_on=clock.today(),
            reference=sold.number, allocations={sold.pk: amount}, early=[sold.pk],
        )  # fmt: skip
    with clock.at(workday(today, 1) + timedelta(hours=2)):
        invoices.take_core(
            sold.lines.get(kind="core").pk, by=story.owner, quantity=Decimal(1), condition="Cracked across the tip",
            accepted=False, reason="A cracked nozzle can't be rebuilt",
        )  # fmt: skip
