"""One letter, one storage charge, one discount for early payment, however many press at once; each with a control that fails
when the lock is out."""

from __future__ import annotations

import time
from decimal import Decimal as D

import pytest

from jobs.accounts import actions
from jobs.accounts.models import Reminder, StorageCharge
from jobs.cards import actions as cards
from jobs.cards.models import JobCard
from jobs.invoices import actions as invoices
from jobs.invoices.actions import discounting, paying
from jobs.invoices.models import Invoice, Payment
from shop.business import actions as business
from shop.kernel import clock
from tests.factories import accounts as late
from tests.factories import invoices as make
from tests.factories import moments
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def slow(monkeypatch, module, name: str) -> None:
    real = getattr(module, name)

    def slowly(*args, **kwargs):
        found = real(*args, **kwargs)
        time.sleep(0.2)
        return found

    monkeypatch.setattr(module, name, slowly)


def remind(owner, monkeypatch) -> list:
    customer = late.overdue(owner).customer_id
    slow(monkeypatch, actions.queries, "proposals")
    return race([lambda: actions.send_reminder(by=owner, customer_id=customer)] * 4)


def test_one_letter(owner, monkeypatch):
    results = remind(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 3}
    assert {r.code for r in results if hasattr(r, "code")} == {"no-letter-due"}
    assert Reminder.objects.count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_only_the_constraint_stops_the_second_letter(owner, monkeypatch):
    monkeypatch.setattr(actions, "lock_account", lambda customer_id: None)
    # the last net: no invoice twice at one level
    assert "saved-meanwhile" in {getattr(r, "code", "") for r in remind(owner, monkeypatch)}


def store(owner, monkeypatch) -> list:
    card = make.finished(owner)
    business.edit_money_terms(None, by=owner, storage_per_day=D(4))
    cards.finish_card(card.pk, by=owner)
    JobCard.objects.filter(pk=card.pk).update(finished_at=moments.away(-20))
    slow(monkeypatch, actions.queries, "uncollected")
    return race([lambda: actions.bill_storage(card.pk, by=owner)] * 3)


def test_days_are_billed_once(owner, monkeypatch):
    assert outcomes(store(owner, monkeypatch)) == {"done": 1, "refused": 2}
    assert StorageCharge.objects.count() == Invoice.objects.count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_days_are_billed_twice(owner, monkeypatch):
    monkeypatch.setattr(actions, "lock_card", lambda pk: JobCard.objects.get(pk=pk))
    store(owner, monkeypatch)
    assert StorageCharge.objects.count() > 1


def pay_early(owner, monkeypatch) -> list:
    make.sale(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=10)
    invoice = make.sale(owner)  # 123.00, 120.54 when paid early
    slow(monkeypatch, paying.queries, "outstanding")

    def pay():
        return invoices.record_payment(
            by=owner, customer_id=invoice.customer_id, amount=D("120.54"), method="transfer", received_on=clock.today(),
            allocations={invoice.pk: D("120.54")}, early=[invoice.pk],
        )  # fmt: skip

    return race([pay] * 3)


def test_one_discount(owner, monkeypatch):
    assert outcomes(pay_early(owner, monkeypatch))["done"] == 1
    assert Invoice.objects.filter(kind="credit").count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_the_discount_is_given_twice(owner, monkeypatch):
    def unlocked(customer_id, invoice_ids=()):
        return {row.pk: row for row in Invoice.objects.filter(pk__in=invoice_ids)}

    monkeypatch.setattr(paying, "lock_account", unlocked)
    pay_early(owner, monkeypatch)
    assert Invoice.objects.filter(kind="credit").count() > 1


def reverse(owner, monkeypatch) -> list:
    make.sale(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=10)
    invoice = make.sale(owner)
    payment = invoices.record_payment(
        by=owner, customer_id=invoice.customer_id, amount=D("120.54"), method="transfer", received_on=clock.today(),
        allocations={invoice.pk: D("120.54")}, early=[invoice.pk],
    )  # fmt: skip
    slow(monkeypatch, discounting.standing, "early")
    return race([lambda: invoices.reverse_payment(payment.pk, by=owner, reason="Bounced")] * 3)


def test_a_discount_is_charged_again_once(owner, monkeypatch):
    assert outcomes(reverse(owner, monkeypatch)) == {"done": 1, "refused": 2}
    assert Invoice.objects.filter(kind="debit").count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_only_the_constraint_stops_the_second_reversal(owner, monkeypatch):
    monkeypatch.setattr(
        paying, "lock_account", lambda pk, ids=(): {x.pk: x for x in Invoice.objects.filter(pk__in=ids)}
    )
    monkeypatch.setattr(paying, "lock_payment", lambda pk: Payment.objects.get(pk=pk))
    assert "saved-meanwhile" in {getattr(r, "code", "") for r in reverse(owner, monkeypatch)}
