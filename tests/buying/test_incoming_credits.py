"""A supplier's electronic credit note: understood, held against the invoice it names, taken with the file kept."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.test import Client

from inventory.buying import actions, incoming, queries
from inventory.buying.models import SupplierInvoice
from inventory.stock import ledger
from inventory.stock.models import Lot
from shop.documents.models import Attachment
from shop.kernel import clock
from shop.kernel.errors import Refused
from tests.factories import einvoices as files
from tests.invoices.test_invoices_pages import words

from .test_incoming import came, line, order, part  # noqa: F401

pytestmark = pytest.mark.django_db
BOTH = pytest.mark.parametrize("syntax", ["cii", "ubl"])


def note(office, *lines, syntax="cii", number="C-7", of="R-100", **terms):
    terms = {"BT_3": "381", "BG_3": [{"BT-25": of}] if of else [], "BT_9": None, "BT_20": "Set off"} | terms
    return files.kept(office, files.xml(*lines, syntax=syntax, number=number, **terms))


def billed(office) -> SupplierInvoice:
    return actions.take_einvoice(files.kept(office, files.xml(line("214.00", BT_155="GH-0041"))).pk, by=office)


@BOTH
def test_over_an_invoice_that_is_not_known(office, came, syntax):  # noqa: F811
    row = note(office, line("214.00"), syntax=syntax)
    (told,) = incoming.look(row.pk).stops
    assert told.text.startswith(
        "C-7 is a credit note of invoice R-100 over 258.94 EUR. Invoice R-100 of theirs isn't recorded"
    )
    with pytest.raises(Refused, match="record it first"):
        actions.take_einvoice(row.pk, by=office)
    billed(office)
    assert incoming.look(row.pk).stops == []


@BOTH
def test_what_went_back_is_credited(office, stores, came, syntax):  # noqa: F811
    bill = billed(office)
    actions.send_back(by=stores, receipt_line_id=came.pk, bin_id=came.receipt.bin_id, quantity=D(2), reason="Scratched")
    row = note(office, line("42.80", "2", BT_155="GH-0041"), syntax=syntax)
    look = incoming.look(row.pk)
    assert look.findings == []
    made = actions.take_einvoice(row.pk, by=office)
    assert (made.credits, made.number, made.total_net, made.tax) == (bill, "C-7", D("42.80"), D("8.99"))
    (its,) = made.lines.all()
    assert (its.effect, its.quantity, its.price, its.difference) == ("returned", 2, D("21.40"), 0)
    assert Attachment.objects.filter(subject="supplierinvoice", subject_id=made.pk).count() == 1
    with pytest.raises(Refused, match="recorded already"):
        actions.take_einvoice(row.pk, by=office)
    again = note(office, line("42.80", "2", BT_155="GH-0041", BT_154="Again"), syntax=syntax, number="c-7")
    assert "bill-twice" in [f.code for f in incoming.look(again.pk).stops]


def test_where_nothing_went_back_a_price_is_corrected(office, came, client):  # noqa: F811
    billed(office)
    row = note(office, line("10.00", "10", "1.00", BT_155="GH-0041"))
    client.force_login(office)
    page = words(client.get(f"/supplier-invoices/incoming/{row.pk}/"))
    assert "it counts as a price that was corrected" in page
    (its,) = actions.take_einvoice(row.pk, by=office).lines.all()
    assert (its.effect, its.difference, Lot.objects.get().cost) == ("price", -10, D("20.40"))


def test_taken_on_the_page_and_over_the_api(api, office, came):  # noqa: F811
    billed(office)
    browser = Client()
    browser.force_login(office)
    row = note(office, line("10.00", "10", "1.00", BT_155="GH-0041"))
    assert "Electronic credit note" in words(browser.get(f"/supplier-invoices/incoming/{row.pk}/"))
    done = api(office).post(f"incoming-invoices/{row.pk}/take/", {})
    assert done.status_code == 200, done.content
    assert done.json()["credits_id"] == SupplierInvoice.objects.get(number="R-100").pk


def test_more_than_was_charged_is_refused(office, came):  # noqa: F811
    billed(office)
    row = note(office, line("235.40", "11", BT_155="GH-0041"))
    with pytest.raises(Exception, match="is not credited yet"):
        actions.take_einvoice(row.pk, by=office)
    assert SupplierInvoice.objects.count() == 1


def test_without_the_number_of_its_invoice(office, came):  # noqa: F811
    billed(office)
    (told,) = incoming.look(note(office, line("10.00", "10", "1.00"), of="").pk).stops
    assert "names no invoice" in told.text


def charged(office, quantity, price, number="R-100") -> SupplierInvoice:
    net = f"{D(quantity) * D(price):.2f}"
    its = line(net, quantity, price, BT_155="GH-0041")
    return actions.take_einvoice(files.kept(office, files.xml(its, number=number)).pk, by=office)


@BOTH
def test_what_was_charged_and_never_came_is_no_longer_charged(office, order, came, syntax):  # noqa: F811
    """10 came at 21.40; 12 are charged at 22.00, and 2 of them credited: 220.00 are paid for the 10."""
    charged(office, "12", "22.00")
    assert any("ask for 2" in x for x in queries.three_way(order)[0].words)
    row = note(office, line("44.00", "2", "22.00", BT_155="GH-0041"), syntax=syntax)
    assert incoming.look(row.pk).findings == []
    (its,) = actions.take_einvoice(row.pk, by=office).lines.all()
    assert (its.effect, its.quantity, its.difference) == ("returned", 2, 0)
    assert Lot.objects.get().cost == 22
    assert not any("ask for" in x or "not charged yet" in x for x in queries.three_way(order)[0].words)
    assert list(ledger.wrong()) == []


@BOTH
def test_an_invoice_that_is_cancelled_is_charged_anew(office, came, syntax):  # noqa: F811
    """A credit note over all of it, at the price that was charged, takes nothing from what the goods are worth."""
    charged(office, "10", "22.00")
    row = note(office, line("220.00", "10", "22.00", BT_155="GH-0041"), syntax=syntax)
    (told,) = incoming.look(row.pk).findings
    assert (told.code, told.stops, "waits for another invoice" in told.text) == ("not-charged", False, True)
    (its,) = actions.take_einvoice(row.pk, by=office).lines.all()
    assert (its.effect, Lot.objects.get().cost) == ("returned", D("21.40"))
    actions.record_supplier_invoice(
        by=office, supplier_id=came.receipt.supplier_id, number="R-101", dated_on=clock.today(), total=D("210.00"),
        lines=[actions.Billed(came.pk, D(10), D("21.00"))],
    )  # fmt: skip
    assert Lot.objects.get().cost == 21
    assert list(ledger.wrong()) == []


def test_over_the_api_a_person_says_what_it_does(api, office, came):  # noqa: F811
    """2 of 10 that were kept are credited at their price: proposed as no longer charged, taken as a lower price."""
    billed(office)
    client = api(office)
    row = note(office, line("42.80", "2", BT_155="GH-0041"))
    (proposed,) = client.get(f"incoming-invoices/{row.pk}/").json()["lines"][0]["proposed"]
    assert proposed["effect"] == "returned"
    its = {"position": 1, "what": "goods", "receipt_line_id": came.pk, "quantity": "2", "effect": "price"}
    wrong = client.post(f"incoming-invoices/{row.pk}/take/", {"lines": [its | {"effect": "gift"}]})
    assert wrong.status_code == 400
    done = client.post(f"incoming-invoices/{row.pk}/take/", {"lines": [its]})
    assert done.status_code == 200, done.content
    assert done.json()["lines"][0]["effect"] == "price"
    assert Lot.objects.get().cost == D("17.12")  # (214.00 - 42.80) / 10
    assert list(ledger.wrong()) == []


def test_an_invoice_has_no_effect_to_choose(api, office, came):  # noqa: F811
    row = files.kept(office, files.xml(line("214.00", BT_155="GH-0041")))
    its = {"position": 1, "what": "goods", "receipt_line_id": came.pk, "quantity": "10", "effect": "returned"}
    answer = api(office).post(f"incoming-invoices/{row.pk}/take/", {"lines": [its]})
    assert answer.status_code == 400
    assert "leave the effect out" in answer.json()["errors"][0]["detail"]


def test_on_the_page_a_person_says_what_it_does(client, office, came):  # noqa: F811
    """2 credited at 20.00 of the 21.40 charged are proposed as a corrected price; no longer charged, they keep 2.80."""
    billed(office)
    row = note(office, line("40.00", "2", "20.00", BT_155="GH-0041"))
    client.force_login(office)
    page = f"/supplier-invoices/incoming/{row.pk}/"
    shown = client.get(page).content.decode()
    assert '<option value="price" selected>' in shown
    fields = {
        "once": str(uuid.uuid4()), "note": "", "what_1_0": f"goods-{came.pk}", "quantity_1_0": "2", "effect_1_0": "returned",
    }  # fmt: skip
    assert client.post(page, fields).status_code == 303
    (its,) = SupplierInvoice.objects.get(number="C-7").lines.all()
    assert (its.effect, its.difference) == ("returned", D("2.80"))
    assert list(ledger.wrong()) == []


def test_two_lines_over_one_delivery_do_each_its_own(office, stores, came):  # noqa: F811
    """2 went back and are credited; of the 8 kept 0.50 is taken off the price."""
    billed(office)
    actions.send_back(by=stores, receipt_line_id=came.pk, bin_id=came.receipt.bin_id, quantity=D(2), reason="Scratched")
    row = note(office, line("42.80", "2", BT_155="GH-0041"), line("4.00", "8", "0.50", BT_155="GH-0041"))
    lines = actions.take_einvoice(row.pk, by=office).lines.all()
    assert {(x.effect, x.quantity, x.difference) for x in lines} == {("returned", 2, 0), ("price", 8, -4)}
    assert Lot.objects.get().cost == D("20.90")
    assert list(ledger.wrong()) == []


@BOTH
def test_of_two_invoices_over_a_delivery_each_is_credited_by_itself(office, came, syntax):  # noqa: F811
    for number, quantity in (("R-100", "6"), ("R-101", "4")):
        actions.record_supplier_invoice(
            by=office, supplier_id=came.receipt.supplier_id, number=number, dated_on=clock.today(),
            total=D(quantity) * D("21.40"), tax=D("30"), lines=[actions.Billed(came.pk, D(quantity))],
        )  # fmt: skip
    for number, of, quantity in (("C-7", "R-100", "6"), ("C-8", "R-101", "4")):
        its = line(f"{D(quantity) * D('21.40'):.2f}", quantity, BT_155="GH-0041")
        row = note(office, its, syntax=syntax, number=number, of=of)
        assert [x.quantity for x in incoming.look(row.pk).candidates] == [D(quantity)]
        actions.take_einvoice(row.pk, by=office)
    assert Lot.objects.get().cost == D("21.40")
    assert list(ledger.wrong()) == []
