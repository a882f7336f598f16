"""Two people receive one order: it comes once, and the other is told. On both databases; with a control."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.buying import actions
from inventory.buying.actions import receiving
from inventory.buying.models import GoodsReceipt, OrderLine, PurchaseOrder
from inventory.stock import ledger
from inventory.stock.models import StockLevel
from tests.factories import buying as made
from tests.factories import parts as made_parts
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = 6


@pytest.fixture
def order(stores):
    return made.sent(stores, made_parts.part(stores), "10")


def posting(by, receipt_id):
    return lambda: actions.post_receipt(receipt_id, None, by=by)


def counted(by, order, quantities):
    """A delivery for each quantity, counted and not posted."""
    row, found = order.lines.get(), []
    for n, quantity in enumerate(quantities):
        receipt = made.delivery(by, order, f"N{n}")
        actions.add_receipt_line(receipt.pk, None, by=by, order_line_id=row.pk, quantity=D(quantity))
        found.append(receipt.pk)
    return found


def test_one_order_is_received_by_one_of_many(stores, order):
    ids = counted(stores, order, [10] * PEOPLE)
    results = race([posting(stores, pk) for pk in ids])
    assert outcomes(results) == {"done": 1, "refused": PEOPLE - 1}
    assert {r.code for r in results if isinstance(r, Exception)} == {"over-delivered"}
    assert (OrderLine.objects.get().received, StockLevel.objects.get().on_hand) == (10, 10)
    assert PurchaseOrder.objects.get().closed_at is not None
    assert list(ledger.wrong()) == []


def test_parts_of_one_order_all_count(stores, order):
    ids = counted(stores, order, [3, 3, 4])
    assert outcomes(race([posting(stores, pk) for pk in ids])) == {"done": 3}
    assert OrderLine.objects.get().received == 10
    assert sorted(GoodsReceipt.objects.values_list("number", flat=True))[-1].endswith("-0003")


def test_the_same_receipt_is_posted_once(stores, order):
    (pk,) = counted(stores, order, [10])
    results = race([posting(stores, pk)] * PEOPLE)
    assert outcomes(results) == {"done": 1, "refused": PEOPLE - 1}
    assert StockLevel.objects.get().on_hand == 10


def test_a_delivery_note_is_opened_once(stores, order):
    opening = lambda: made.delivery(stores, order, "4711")  # noqa: E731
    made.delivery(stores, order, "other")  # the bin is there
    results = race([opening] * PEOPLE)
    assert outcomes(results) == {"done": 1, "refused": PEOPLE - 1}


@pytest.mark.postgres
def test_without_the_lock_it_is_received_twice(stores, order, monkeypatch):
    """The control: the same race with the orders read and not locked."""
    monkeypatch.setattr(receiving, "lock_orders", lambda ids: PurchaseOrder.objects.in_bulk(ids))
    ids = counted(stores, order, [10] * PEOPLE)
    results = race([posting(stores, pk) for pk in ids])
    assert outcomes(results)["done"] > 1
