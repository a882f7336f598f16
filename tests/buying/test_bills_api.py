from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db import connection
from django.db.utils import IntegrityError
from django.test.utils import CaptureQueriesContext

from inventory.buying import actions
from inventory.buying.matching import Side, differences
from inventory.buying.models import SupplierInvoice, SupplierInvoiceLine
from inventory.stock import ledger
from inventory.stock.models import Lot, Movement
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(stores):
    return made_parts.part(stores)


@pytest.fixture
def order(stores, part):
    return made.sent(stores, part, "10")


@pytest.fixture
def line(stores, order):
    """10 at 21.40, received with 4.00 freight: 218.00 landed."""
    return made.received(stores, order, freight=D("4.00")).lines.get()


def charge(client, line, total, number="R-100", **of_line):
    body = {
        "supplier_id": line.receipt.supplier_id, "number": number, "dated_on": str(clock.today()), "total": total,
        "lines": [{"receipt_line_id": line.pk} | of_line],
    }  # fmt: skip
    return client.post("supplier-invoices/", body)


def looked_at(client, order):
    (found,) = client.get(f"purchase-orders/{order.pk}/three-way/").json()["lines"]
    return found


def test_the_three_agree(api, office, order, line):
    client = api(office)
    assert looked_at(client, order)["billed"] is None
    answer = charge(client, line, "214.00")
    assert answer.status_code == 201, answer.content
    assert answer.json()["lines"][0]["difference"] == "0.00"
    found = looked_at(client, order)
    assert (found["billed"]["quantity"], found["words"]) == ("10", [])
    assert Movement.objects.count() == 1  # nothing to put right


def test_a_dearer_invoice_posts_a_difference_and_rewrites_nothing(api, office, order, line):
    before = list(Movement.objects.values_list("pk", "value"))
    answer = charge(api(office), line, "222.50", price="22.25")
    assert answer.json()["lines"][0]["difference"] == "8.50"
    lot = Lot.objects.get()
    assert (lot.unit_cost, lot.cost) == (D("21.80"), D("22.65"))  # as received; (218.00 + 8.50) / 10
    row = Movement.objects.get(kind="revalue")
    assert (row.quantity, row.value, row.reason) == (D(0), D("8.50"), "Invoice R-100 of Gullhaven Seals")
    assert list(Movement.objects.exclude(pk=row.pk).values_list("pk", "value")) == before
    (said,) = looked_at(api(office), order)["words"]
    assert said == "Charged at 22.25 EUR each instead of 21.40: 0.85 dearer each."
    assert list(ledger.wrong()) == []


def extras(client, order):
    return client.get(f"purchase-orders/{order.pk}/three-way/").json()["words"]


def with_freight(client, line, total, freight, number="R-100", duty="0", **of_line):
    body = {
        "supplier_id": line.receipt.supplier_id, "number": number, "dated_on": str(clock.today()), "total": total,
        "lines": [{"receipt_line_id": line.pk} | of_line], "freight": freight, "duty": duty,
    }  # fmt: skip
    answer = client.post("supplier-invoices/", body)
    assert answer.status_code == 201, answer.content


def test_freight_charged_otherwise_than_counted_is_told(api, client, office, order, line):
    """4.00 was counted in at receipt."""
    browser, money = client, api(office)
    assert extras(money, order) == []
    with_freight(money, line, "222.50", "6.50", duty="2.00")
    assert extras(money, order) == [
        "Freight: 6.50 EUR are charged, 4.00 were counted at receipt: 2.50 more.",
        "Duty: 2.00 EUR are charged, 0.00 were counted at receipt: 2.00 more.",
    ]
    browser.force_login(office)
    assert "Freight: 6.50 EUR are charged" in browser.get(f"/orders/{order.pk}/").content.decode()


def test_less_freight_is_told_when_nothing_more_is_to_come(api, office, order, line):
    client = api(office)
    with_freight(client, line, "88.60", "3.00", quantity="4")
    assert extras(client, order) == [], "the rest may come with the other six"
    charge(client, line, "128.40", "R-101", quantity="6")
    assert extras(client, order) == ["Freight: 3.00 EUR are charged, 4.00 were counted at receipt: 1.00 less."]


def test_freight_that_a_carrier_charges_is_no_difference(api, office, order, line):
    charge(api(office), line, "214.00")
    assert extras(api(office), order) == []


def test_one_invoice_over_two_deliveries_is_held_against_both(api, office, stores, part):
    """Of two orders; 4.00 and 5.00 were counted, 9.00 charged in one."""
    orders = [made.sent(stores, part, "10"), made.sent(stores, part, "5")]
    lines = [
        made.received(stores, row, note, freight=D(freight)).lines.get()
        for row, note, freight in zip(orders, ("4711", "4712"), ("4", "5"), strict=True)
    ]
    body = {
        "supplier_id": lines[0].receipt.supplier_id, "number": "R-100", "dated_on": str(clock.today()), "total": "330.00",
        "lines": [{"receipt_line_id": x.pk} for x in lines], "freight": "9.00",
    }  # fmt: skip
    assert api(office).post("supplier-invoices/", body).status_code == 201
    assert [extras(api(office), row) for row in orders] == [[], []]


def test_two_invoices_over_one_delivery_add_up(api, office, order, line):
    client = api(office)
    charge(client, line, "90.00", quantity="4", price="22.50")  # 4.40 more
    assert "6 pc are not charged yet." in looked_at(client, order)["words"]
    charge(client, line, "126.00", "R-101", quantity="6", price="21.00")  # 2.40 less
    assert Lot.objects.get().cost == D("22.00")  # (218.00 + 4.40 - 2.40) / 10
    assert sum(Movement.objects.filter(kind="revalue").values_list("value", flat=True)) == D("2.00")
    assert list(ledger.wrong()) == []


def test_more_is_charged_than_came(api, office, stores, order, line):
    actions.send_back(
        by=stores, receipt_line_id=line.pk, bin_id=line.receipt.bin_id, quantity=D(2), reason="Bent", replace=False
    )
    charge(api(office), line, "256.80", quantity="12")
    words = looked_at(api(office), order)["words"]
    assert words == ["2 pc went back.", "12 pc are charged, 8 pc were kept: ask for 4 pc back."]
    # what is charged too much is no cost; the 8 that were kept bear the freight of 4.00
    assert Lot.objects.get().cost == D("21.90")


@pytest.mark.parametrize(
    ("change", "pointer", "said"),
    [
        ({"total": "214.01"}, "/total", "add up to 214.00 EUR, the invoice says 214.01"),
        ({"total": "214.001"}, "/total", "in steps of 0.01 EUR"),
        ({"number": " "}, "/number", ""),
        ({"dated_on": "2001-01-01"}, "/dated_on", "stands on the invoice"),
        ({"due_on": "2001-01-01"}, "/due_on", "within a year"),
        ({"lines": []}, "/lines", ""),
        ({"lines": [{"receipt_line_id": 999}]}, "/lines", "was not received"),
        ({"supplier_id": 999}, "/supplier_id", "no such supplier"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_recorded(api, office, line, change, pointer, said):
    body = {
        "supplier_id": line.receipt.supplier_id, "number": "R-100", "dated_on": str(clock.today()), "total": "214.00",
        "lines": [{"receipt_line_id": line.pk}],
    }  # fmt: skip
    answer = api(office).post("supplier-invoices/", body | change)
    assert answer.status_code == 400
    found = {e["pointer"]: e["detail"] for e in answer.json()["errors"]}
    assert said in found[pointer]
    assert not SupplierInvoice.objects.exists()


def test_an_invoice_is_recorded_once(api, office, line):
    assert charge(api(office), line, "21.40", quantity="1").status_code == 201
    again = charge(api(office), line, "21.40", "r-100", quantity="1")
    assert (again.status_code, again.json()["errors"][0]["pointer"]) == (400, "/number")
    assert "by Pim Castell" in again.json()["detail"]


@pytest.mark.parametrize("model", [SupplierInvoice, SupplierInvoiceLine])
def test_the_database_refuses_to_change_it(api, office, line, model):
    charge(api(office), line, "214.00")
    with pytest.raises(IntegrityError):
        model.objects.update(**{"note": "x"} if model is SupplierInvoice else {"quantity": 1})


def test_the_stores_see_it_and_record_none(api, stores, mechanic, office, line):
    assert charge(api(stores), line, "214.00").status_code == 403
    charge(api(office), line, "214.00")
    assert len(api(stores).get("supplier-invoices/").json()["items"]) == 1
    assert api(mechanic).get("supplier-invoices/").status_code == 403


def test_the_list_asks_as_often_for_many_as_for_few(api, office, stores, part):
    client = api(office)

    def count():
        with CaptureQueriesContext(connection) as asked:
            assert client.get("supplier-invoices/").status_code == 200
        return len(asked)

    def one(n):
        row = made.received(stores, made.sent(stores, part, "1"), f"N{n}").lines.get()
        assert charge(client, row, "21.40", f"R{n}").status_code == 201

    for n in range(2):
        one(n)
    few = count()
    for n in range(2, 6):
        one(n)
    assert count() == few


def test_what_replaces_something_sent_back_is_not_too_much():
    assert differences(side(6), side(7), side(6), code="C62", currency="EUR", sent_back=D(1)) == ["1 pc went back."]


def side(quantity, price="2"):
    return Side(D(quantity), D(price))


@pytest.mark.parametrize(
    ("ordered", "received", "billed", "words"),
    [
        (side(10), side(10), side(10), []),
        (side(10), side(8), None, ["10 pc were ordered, 8 pc came."]),
        (side(10), side(12), side(10), ["2 pc more came than were ordered.", "2 pc are not charged yet."]),
        (None, side(1), None, ["1 pc came without an order."]),
        (side(1, "3"), side(1, "3"), side(1, "2.5"), ["Charged at 2.50 EUR each instead of 3.00: 0.50 cheaper each."]),
        (Side(D(50), D(10), D(50)), Side(D(50), D(10), D(50)), Side(D(50), D("0.2"), D(1)), []),
    ],
)  # fmt: skip
def test_what_differs_in_words(ordered, received, billed, words):
    assert differences(ordered, received, billed, code="C62", currency="EUR") == words
