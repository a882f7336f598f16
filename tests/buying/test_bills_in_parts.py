"""One delivery that is charged by several invoices, or charged anew: what is left waits for an invoice, on the page and for a file."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.buying import actions, incoming, queries
from inventory.buying.models import SupplierInvoice
from inventory.buying.pages import bills as page_of_bills
from inventory.stock import ledger
from inventory.stock.models import Lot
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories import einvoices as files
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(stores):
    row = made_parts.part(stores)
    made.offer(stores, row, number="GH-0041")
    return row


@pytest.fixture
def order(stores, part):
    return made.sent(stores, part, "100")


@pytest.fixture
def line(stores, order):
    """100 at 21.40."""
    return made.received(stores, order).lines.get()


def bill(by, line, quantity, number, price="21.40"):
    return actions.record_supplier_invoice(
        by=by, supplier_id=line.receipt.supplier_id, number=number, dated_on=clock.today(), total=D(quantity) * D(price),
        lines=[actions.Billed(line.pk, D(quantity), D(price))],
    )  # fmt: skip


def credit(by, on, line, quantity, number):
    return actions.record_supplier_credit(
        on.pk, by=by, number=number, dated_on=clock.today(), total=D(quantity) * D("21.40"),
        lines=[actions.Credited(line.pk, D(quantity))],
    )  # fmt: skip


def waits(line):
    return [(x.pk, x.quantity) for x in queries.not_billed(line.receipt.supplier_id, 100)[0]]


def test_the_rest_is_charged_on_the_page(client, office, order, line):
    bill(office, line, "60", "R-100")
    client.force_login(office)
    page = reverse("buying:add-bill", args=[line.receipt.supplier_id])
    shown = client.get(page).content.decode()
    assert "Nothing waits for an invoice" not in shown
    assert f'name="quantity_{line.pk}" value="40"' in shown
    done = client.post(page, {
        "once": str(uuid.uuid4()), "number": "R-101", "dated_on": str(clock.today()), "total": "880",
        f"quantity_{line.pk}": "40", f"price_{line.pk}": "22",
    })  # fmt: skip
    assert done.status_code == 303, done.content.decode()
    assert "Nothing waits for an invoice" in client.get(page).content.decode()
    assert not any("not charged" in x for x in queries.three_way(order)[0].words)
    assert Lot.objects.get().cost == D("21.64")  # (60 x 21.40 + 40 x 22.00) / 100
    assert list(ledger.wrong()) == []


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_the_rest_is_charged_by_a_file(api, office, line, syntax):
    bill(office, line, "60", "R-100")
    content = files.xml(files.line("856.00", "40", BT_155="GH-0041"), syntax=syntax, number="R-101")
    row = files.kept(office, content)
    look = incoming.look(row.pk)
    assert look.findings == []
    assert [(a.receipt_line_id, a.quantity) for a in look.proposed] == [(line.pk, D(40))]
    done = api(office).post(f"incoming-invoices/{row.pk}/take/", {})
    assert done.status_code == 200, done.content
    assert waits(line) == []
    assert list(ledger.wrong()) == []


def test_what_was_cancelled_is_charged_anew(client, office, line):
    cancelled = bill(office, line, "100", "R-100")
    assert waits(line) == []
    credit(office, cancelled, line, "100", "C-1")
    assert waits(line) == [(line.pk, D(100))]
    row = files.kept(office, files.xml(files.line("2100.00", "100", "21.00", BT_155="GH-0041"), number="R-101"))
    assert actions.take_einvoice(row.pk, by=office).total_net == 2100
    assert (Lot.objects.get().cost, waits(line)) == (21, [])
    assert list(ledger.wrong()) == []


def test_what_went_back_waits_for_none(office, stores, line):
    """As long as nothing is charged, all that came is offered: they may charge it before they know."""

    def back(quantity):
        actions.send_back(
            by=stores, receipt_line_id=line.pk, bin_id=line.receipt.bin_id, quantity=D(quantity), reason="Bent"
        )

    back("10")
    assert waits(line) == [(line.pk, D(100))]
    charged = bill(office, line, "70", "R-100")
    assert waits(line) == [(line.pk, D(20))]
    bill(office, line, "20", "R-101")
    assert waits(line) == []
    back("5")
    credit(office, charged, line, "5", "C-1")
    assert waits(line) == []


def test_to_the_last_of_six_decimals(office, stores):
    """Parts of a thousandth, whose sum no float holds."""
    part = made_parts.part(stores, "SEALANT", unit="LTR")
    line = made.received(stores, made.sent(stores, part, "1")).lines.get()
    for n, quantity in enumerate(("0.7", "0.2", "0.099")):
        bill(office, line, quantity, f"R-{n}", price="100")
    assert waits(line) == [(line.pk, D("0.001"))]
    bill(office, line, "0.001", "R-9", price="100")
    assert waits(line) == []


def test_more_than_the_page_shows_is_said(client, office, stores, part, line, monkeypatch):
    monkeypatch.setattr(page_of_bills, "SHOWN", 2)
    monkeypatch.setattr(incoming, "CANDIDATES", 2)
    client.force_login(office)
    page = reverse("buying:add-bill", args=[line.receipt.supplier_id])
    row = files.kept(office, files.xml(files.line("214.00", BT_155="GH-0041"), number="R-1"))
    for n in range(3):
        shown = client.get(page).content.decode()
        told = [f.stops for f in incoming.look(row.pk).findings if f.code == "more-waits"]
        assert (shown.count("there are more"), told) == ((1, [False]) if n == 2 else (0, [])), n
        made.received(stores, made.sent(stores, part, "10"), f"471-{n}")


def test_the_page_asks_as_often_for_many_as_for_few(client, office, stores, part):
    client.force_login(office)

    def asked(count):
        for n in range(count):
            line = made.received(stores, made.sent(stores, part, "10"), f"{count}-{n}").lines.get()
            bill(office, line, "4", f"R-{count}-{n}")
        with CaptureQueriesContext(connection) as said:
            shown = client.get(reverse("buying:add-bill", args=[line.receipt.supplier_id])).content.decode()
        assert shown.count('value="6"') == SupplierInvoice.objects.count()
        return len(said)

    asked(1)
    assert asked(2) == asked(7)


def test_recording_asks_as_often_for_many_lines_as_for_few(office, stores, part):
    def asked(count):
        lines = [made.received(stores, made.sent(stores, part, "10"), f"{count}-{n}").lines.get() for n in range(count)]
        with CaptureQueriesContext(connection) as said:
            actions.record_supplier_invoice(
                by=office, supplier_id=lines[0].receipt.supplier_id, number=f"R-{count}", dated_on=clock.today(),
                total=D(214 * count), lines=[actions.Billed(x.pk) for x in lines],
            )  # fmt: skip
        return len(said)

    asked(1)
    assert asked(2) == asked(7)
