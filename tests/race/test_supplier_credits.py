"""No more is credited of a supplier's invoice than it charges, however many record at once; with a control that fails without
the lock."""

from __future__ import annotations

import time
from decimal import Decimal as D

import pytest

from inventory.buying import actions
from inventory.buying.actions import crediting
from inventory.buying.models import Supplier, SupplierInvoice
from shop.kernel import clock
from tests.buying.test_supplier_credits import bill, came
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def credit_it(owner, monkeypatch) -> list:
    line = came(owner)
    charged = bill(owner, line, "4", "40")
    real = crediting._line

    def slowly(*args):
        found = real(*args)
        time.sleep(0.2)
        return found

    monkeypatch.setattr(crediting, "_line", slowly)

    def record(n: int):
        return lambda: actions.record_supplier_credit(
            charged.pk, by=owner, number=f"C-{n}", dated_on=clock.today(), total=D(120),
            lines=[actions.Credited(line.pk, D(3), D(40))],
        )  # fmt: skip

    return race([record(n) for n in range(3)])


def test_what_is_charged_is_credited_once(owner, monkeypatch):
    assert outcomes(credit_it(owner, monkeypatch))["done"] == 1
    assert SupplierInvoice.objects.filter(credits__isnull=False).count() == 1


@pytest.mark.postgres
def test_control_without_the_locks_it_is_credited_twice(owner, monkeypatch):
    class Unlocked:
        """`select_for_update` that locks nothing."""

        def __init__(self, rows):
            self.rows = rows

        def select_for_update(self, **how):
            return self.rows.all()

    class Receipts:
        objects = Unlocked(crediting.GoodsReceipt.objects)

    monkeypatch.setattr(crediting, "lock_supplier", lambda pk: Supplier.objects.get(pk=pk))
    monkeypatch.setattr(crediting, "GoodsReceipt", Receipts)
    credit_it(owner, monkeypatch)
    assert SupplierInvoice.objects.filter(credits__isnull=False).count() > 1
