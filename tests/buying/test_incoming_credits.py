"""A supplier's electronic credit note: understood, held against the invoice it names, taken with the file kept."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.test import Client

from inventory.buying import actions, incoming
from inventory.buying.models import SupplierInvoice
from inventory.stock.models import Lot
from shop.documents.models import Attachment
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
