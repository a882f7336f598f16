"""Closing a month against a payment that is dated in it: either the payment is in the totals that are kept, or it is refused.
With a control that fails when the gate is out."""

from __future__ import annotations

import time
from datetime import date
from decimal import Decimal as D

import pytest

from jobs.books import actions, gathering, queries
from jobs.books.models import Gate, MonthClosing
from jobs.invoices import actions as invoices
from jobs.invoices.models import Payment
from shop.kernel import clock, closed
from tests.factories import books as make
from tests.factories import invoices as bills
from tests.race.racing import outcomes, race

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]
OCTOBER = date(2026, 10, 1)


def pay(owner, customer_id):
    def work():
        with clock.at(make.NOVEMBER):
            return invoices.record_payment(
                by=owner, customer_id=customer_id, amount=D(10), method="cash", received_on=date(2026, 10, 31)
            )

    return work


def close(owner):
    def work():
        with clock.at(make.NOVEMBER):
            return actions.close_month(by=owner, month=OCTOBER)

    return work


@pytest.fixture
def slow(monkeypatch):
    """Time passes between looking and writing, on both sides."""
    looked, added = invoices.paying.lock_account, queries.totals

    def slowly(function):
        def wrapper(*args, **kwargs):
            found = function(*args, **kwargs)
            time.sleep(0.3)
            return found

        return wrapper

    monkeypatch.setattr(invoices.paying, "lock_account", slowly(looked))
    monkeypatch.setattr(queries, "totals", slowly(added))


def raced(owner, customer_id):
    results = race([close(owner), *[pay(owner, customer_id)] * 3])
    with clock.at(make.NOVEMBER):
        return results, list(queries.wrong())


def customer(owner) -> int:
    with clock.at(make.OCTOBER):
        return bills.sale(owner).customer_id


def test_a_payment_is_in_the_closed_month_or_refused(owner, slow):
    who = customer(owner)
    for _ in range(3):
        results, wrong = raced(owner, who)
        assert wrong == []
        assert outcomes(results[:1]) == {"done": 1}
        assert set(outcomes(results[1:])) <= {"done", "refused"}
        with clock.at(make.NOVEMBER):
            actions.reopen_month(MonthClosing.objects.latest("id").pk, by=owner, reason="Again")


def test_control_without_the_gate_a_payment_slips_in(owner, slow, monkeypatch):
    who = customer(owner)

    def looked_only(day, field):
        open_from = queries.open_from()
        assert open_from is None or day >= open_from

    monkeypatch.setattr(closed, "GUARDS", [looked_only])
    _results, wrong = raced(owner, who)
    assert wrong, "the race shows nothing: the payments came too early or too late"
    assert Payment.objects.count() == 3


def test_closed_at_once_it_is_closed_once(owner):
    customer(owner)
    assert outcomes(race([close(owner)] * 4)) == {"done": 1, "refused": 3}
    assert (MonthClosing.objects.count(), Gate.objects.get().open_from) == (1, gathering.month_after(OCTOBER))
