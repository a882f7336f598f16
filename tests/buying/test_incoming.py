"""A supplier's electronic invoice: read in both syntaxes, understood, taken as their bill with the file kept."""

from __future__ import annotations

import hashlib
import uuid
from decimal import Decimal as D

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.buying import actions, incoming
from inventory.buying.einvoice import sums
from inventory.buying.models import IncomingInvoice, SupplierInvoice
from inventory.stock.models import Lot
from jobs.invoices import einvoice, printing
from shop.documents.models import Attachment
from shop.kernel.errors import Refused
from tests.factories import buying as made
from tests.factories import einvoices as files
from tests.factories import invoices as sold
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db
line = files.line


@pytest.fixture
def part(stores):
    return made_parts.part(stores)


@pytest.fixture
def order(stores, part):
    made.offer(stores, part, number="GH-0041")
    return made.sent(stores, part, "10")


@pytest.fixture
def came(stores, order):
    """10 at 21.40."""
    return made.received(stores, order).lines.get()


def send(client, content, name="R-100.xml"):
    return client.client.post(
        "/api/v1/incoming-invoices/", {"file": SimpleUploadedFile(name, content)},
        headers=client.headers | {"Idempotency-Key": str(uuid.uuid4())},
    )  # fmt: skip


def codes(look):
    return [f.code for f in look.findings]


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_previewed_and_taken_over_the_api(api, office, order, came, syntax):
    content = files.xml(
        line("214.00", BT_155="gh-0041"), syntax=syntax, BT_13=order.number, charge="12.50", allowance="1.50"
    )
    client = api(office)
    answer = send(client, content)
    assert answer.status_code == 201, answer.content
    shown = answer.json()
    assert (shown["syntax"], shown["number"], shown["supplier_id"]) == (syntax, "R-100", order.supplier_id)
    assert (shown["order_id"], shown["findings"]) == (order.pk, [])
    (row,) = shown["lines"]
    assert (row["part_id"], row["told_by"], row["net"]) == (came.part_id, "their number", "214")
    assert row["proposed"] == [
        {"position": 1, "what": "goods", "receipt_line_id": came.pk, "quantity": "10", "effect": None}
    ]
    assert not SupplierInvoice.objects.exists()
    done = client.post(f"incoming-invoices/{shown['id']}/take/", {})
    assert done.status_code == 200, done.content
    bill = done.json()
    assert (bill["total_net"], bill["freight"], bill["allowance"], bill["tax"]) == ("225.00", "12.50", "1.50", "47.25")
    assert (bill["number"], bill["lines"][0]["net"], bill["lines"][0]["price"]) == ("R-100", "214.00", "21.40")
    (file,) = Attachment.objects.filter(subject="supplierinvoice", subject_id=bill["id"])
    assert (file.sha256, file.media_type) == (hashlib.sha256(content).hexdigest(), "application/xml")
    with file.file.open("rb") as handle:
        assert handle.read() == content
    assert client.get("incoming-invoices/").json()["items"] == []
    (taken,) = client.get("incoming-invoices/", state="taken").json()["items"]
    assert taken["bill_id"] == bill["id"]
    kept = client.get(f"files/{file.pk}/content/")
    assert kept["Content-Disposition"].startswith("attachment")


def test_taken_once_however_often_it_is_said(api, office, came):
    row = files.kept(office, files.xml(line("214.00", BT_155="GH-0041")))
    client = api(office)
    key = str(uuid.uuid4())
    first, again = (client.post(f"incoming-invoices/{row.pk}/take/", {}, key=key) for _ in range(2))
    assert (first.status_code, again.status_code, first.json()) == (200, 200, again.json())
    other = client.post(f"incoming-invoices/{row.pk}/take/", {})
    assert (other.status_code, "recorded already" in other.json()["detail"]) == (409, True)
    assert SupplierInvoice.objects.count() == 1


def test_the_same_file_comes_once(api, office, owner, came):
    content = files.xml(line("214.00"))
    first = send(api(office), content).json()
    assert send(api(owner), content, name="again.xml").json()["id"] == first["id"]
    assert (IncomingInvoice.objects.count(), Attachment.objects.filter(subject="incominginvoice").count()) == (1, 1)


def test_a_dearer_price_goes_into_the_lot(office, came):
    row = files.kept(office, files.xml(line("222.50", price="22.25", BT_156="gkt-041")))
    bill = actions.take_einvoice(row.pk, by=office)
    assert (bill.total_net, Lot.objects.get().cost) == (D("222.50"), D("22.25"))


@pytest.mark.parametrize(
    ("terms", "told_by"),
    [({"BT_155": "GH-0041"}, "their number"), ({"BT_156": "GKT-041"}, "our number"),
     ({"BT_157": "4006381333931", "BT_157-1": "0160"}, "GTIN")],
)  # fmt: skip
@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_a_part_is_recognised_by_each_of_its_numbers(office, stores, part, syntax, terms, told_by):
    made.offer(stores, part, number="GH-0041", gtin="4006381333931")
    made.received(stores, made.sent(stores, part, "10"))
    (found,) = incoming.look(files.kept(office, files.xml(line("214.00", **terms), syntax=syntax)).pk).lines
    assert (found.part, found.told_by) == (part, told_by)


def test_packages_are_told_by_what_came(office, stores, part):
    """2 boxes of 50 came; the invoice says 2 boxes (XBX), or 2 pieces that cost as much as boxes, or 100 pieces."""
    made.offer(stores, part, ("1", "20.00"), number="B50", package="box", content=D(50), content_unit="C62")
    (came,) = made.received(stores, made.sent(stores, part, "100")).lines.all()
    for n, (quantity, unit, price) in enumerate([("2", "XBX", "20"), ("2", "C62", "20"), ("100", "H87", "0.4")]):
        row = files.kept(office, files.xml(line("40.00", quantity, price, unit, BT_155="B50"), number=f"R-{n}"))
        (given,) = incoming.look(row.pk).proposed
        assert (given.receipt_line_id, given.quantity) == (came.pk, D(100)), unit
    bill = actions.take_einvoice(row.pk, by=office)
    (charged,) = bill.lines.all()
    assert (charged.quantity, charged.price, charged.price_per, charged.net) == (100, 20, 50, 40)


def test_one_line_over_two_deliveries_is_spread_to_the_cent(office, stores, part):
    made.offer(stores, part, number="GH-0041")
    order = made.sent(stores, part, "3")
    for n, some in enumerate(("1", "2")):
        delivery = made.delivery(stores, order, f"N{n}")
        actions.add_receipt_line(delivery.pk, None, by=stores, order_line_id=order.lines.get().pk, quantity=D(some))
        actions.post_receipt(delivery.pk, None, by=stores)
    row = files.kept(office, files.xml(line("100.00", "3", "33.333333", BT_155="GH-0041")))
    bill = actions.take_einvoice(row.pk, by=office)
    assert [x.net for x in bill.lines.all()] == [D("33.33"), D("66.67")]


def test_lines_that_are_no_goods(api, office, came):
    content = files.xml(
        line("214.00", BT_155="GH-0041"),
        line("9.00", "1", "9", BT_153="Carriage"),
        line("-4.00", "-1", "4", BT_153="Rebate"),
    )
    row = files.kept(office, content)
    client = api(office)
    refused = client.post(f"incoming-invoices/{row.pk}/take/", {})
    assert (refused.status_code, "Line 2 (Carriage): say what it is for" in refused.json()["detail"]) == (400, True)
    assert not SupplierInvoice.objects.exists()
    done = client.post(f"incoming-invoices/{row.pk}/take/", {"lines": [{"position": 2, "what": "freight"}]})
    assert done.status_code == 200, done.content
    assert [done.json()[n] for n in ("freight", "allowance", "total_net")] == ["9.00", "4.00", "219.00"]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([{"position": 1, "what": "nothing"}], "214.00 EUR are charged for it"),
        ([{"position": 1, "what": "allowance"}], "it adds to the invoice"),
        ([{"position": 1, "what": "goods"}], "name the receipt's line"),
        ([{"position": 1, "what": "goods", "receipt_line_id": 999, "quantity": "1"}], "isn't there to be charged"),
        ([{"position": 9, "what": "freight"}], "has no line 9"),
        ([{"position": 1, "what": "freight"}], "Nothing that was received is charged"),
    ],
)
def test_what_a_line_cannot_be_for_is_said_and_nothing_written(api, office, came, lines, said):
    row = files.kept(office, files.xml(line("214.00", BT_155="GH-0041")))
    answer = api(office).post(f"incoming-invoices/{row.pk}/take/", {"lines": lines})
    assert (answer.status_code, said in answer.json()["detail"]) == (400, True), answer.json()
    assert not SupplierInvoice.objects.exists()
    assert IncomingInvoice.objects.get().bill is None


@pytest.mark.parametrize(
    ("terms", "code"),
    [
        ({"BT_112": "258.95"}, "BR-CO-15"),
        ({"BT_106": "214.01"}, "BR-CO-10"),
        ({"BT_109": "213.99"}, "BR-CO-13"),
        ({"BT_110": "44.95"}, "BR-CO-14"),
        ({"BT_115": "1.00"}, "BR-CO-16"),
        ({"BG_23": [{"BT-116": "213.00", "BT-117": "44.94", "BT-118": "S", "BT-119": "21"}]}, "BR-S-08"),
        ({"BG_23": [{"BT-116": "214.00", "BT-117": "43.94", "BT-118": "S", "BT-119": "21"}]}, "BR-CO-17"),
        ({"BT_5": "DKK"}, "currency"),
        ({"BT_3": "384"}, "other-kind"),
        ({"BT_3": "386"}, "other-kind"),
        ({"vat_no": "BE0403019261", "seller": "Gullhaven Seals"}, "supplier"),
        ({"seller": "Nobody known", "vat_no": "BE0403019261"}, "supplier"),
    ],
)
@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_what_stops_it_is_told_and_refused(office, stores, came, terms, code, syntax):
    actions.edit_supplier(came.receipt.supplier_id, None, by=stores, vat_no=files.VAT_NO)
    row = files.kept(office, files.xml(line("214.00", BT_155="GH-0041"), syntax=syntax, check=False, **terms))
    look = incoming.look(row.pk)
    assert code in [f.code for f in look.stops]
    with pytest.raises(Refused):
        actions.take_einvoice(row.pk, by=office)
    assert not SupplierInvoice.objects.exists()


def test_tax_off_by_a_cent_is_told_and_does_not_stop(office, came):
    groups = [{"BT-116": "214.00", "BT-117": "44.95", "BT-118": "S", "BT-119": "21"}]
    content = files.xml(
        line("214.00", BT_155="GH-0041"), BG_23=groups, BT_110="44.95", BT_112="258.95", BT_115="258.95"
    )
    look = incoming.look(files.kept(office, content).pk)
    assert [(f.code, f.stops) for f in look.findings] == [("BR-CO-17", False)]
    assert "21 % of 214 is 44.94, the invoice states 44.95" in look.findings[0].text
    assert actions.take_einvoice(look.pk, by=office).tax == D("44.95")


def test_a_number_seen_before_is_refused(office, came):
    first = files.kept(office, files.xml(line("107.00", "5", BT_155="GH-0041")))
    actions.take_einvoice(first.pk, by=office)
    again = files.kept(office, files.xml(line("108.00", "5", "21.60", BT_155="GH-0041"), number="r-100"))
    assert "bill-twice" in codes(incoming.look(again.pk))
    with pytest.raises(Refused, match=r"r-100 of Gullhaven Seals was recorded on .* by Pim Castell"):
        actions.take_einvoice(again.pk, by=office)


def test_found_by_vat_number_before_name_and_named_by_hand(api, office, stores, came):
    supplier = came.receipt.supplier
    actions.edit_supplier(supplier.pk, None, by=stores, vat_no=files.VAT_NO)
    row = files.kept(office, files.xml(line("214.00"), seller="GS Trading Ltd"))
    assert row.supplier == supplier
    other = made.supplier(stores, "Tern & Daughter")
    unknown = files.kept(office, files.xml(line("214.00"), seller="Nobody", vat_no="BE0403019261", number="R-2"))
    client = api(office)
    assert unknown.supplier is None
    wrong = client.post(f"incoming-invoices/{unknown.pk}/supplier/", {"supplier_id": supplier.pk})
    assert (wrong.status_code, "states the VAT number BE0403019261" in wrong.json()["detail"]) == (400, True)
    named = client.post(f"incoming-invoices/{unknown.pk}/supplier/", {"supplier_id": other.pk})
    assert (named.status_code, named.json()["supplier_id"]) == (200, other.pk)


def test_set_aside_and_sent_again(api, office, came):
    content = files.xml(line("214.00", BT_155="GH-0041"))
    row = files.kept(office, content)
    client = api(office)
    assert client.post(f"incoming-invoices/{row.pk}/set-aside/").json()["set_aside_at"]
    assert client.get("incoming-invoices/").json()["items"] == []
    assert client.post(f"incoming-invoices/{row.pk}/take/", {}).status_code == 409
    send(client, content)
    assert client.post(f"incoming-invoices/{row.pk}/take/", {}).status_code == 200


def test_an_invoice_of_our_own_is_read_out_of_its_pdf(api, owner):
    """What this shop sends is what such a shop receives: the PDF/A-3, and both files that go by themselves."""
    issued = sold.issued(owner)
    pdf = printing.pdf(issued)
    for content in (pdf, einvoice.cii(issued), einvoice.ubl(issued)):
        found = actions.read_einvoice("x.pdf" if content is pdf else "x.xml", content)
        s = found.stated
        assert (s.number, s.net, s.tax, s.gross) == (
            issued.number, issued.total_net, issued.total_tax, issued.total_gross,
        )  # fmt: skip
        assert [(x.name, x.net) for x in s.lines] == [(x.text, x.net) for x in issued.lines.all()]
        assert sums(s) == []
    answer = send(api(owner), pdf, name="invoice.pdf")
    assert answer.status_code == 201, answer.content
    assert [f["code"] for f in answer.json()["findings"]] == ["supplier"]
    assert Attachment.objects.get(subject="incominginvoice").media_type == "application/pdf"


BOMB = b'<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'


def test_the_office_sends_looks_and_records_on_the_page(client, office, order, came):
    client.force_login(office)
    page = reverse("buying:incoming")
    assert client.get(page).status_code == 200
    empty = client.post(page, {"once": str(uuid.uuid4())})
    assert (empty.status_code, "id_file_error" in empty.content.decode()) == (422, True)
    wrong = client.post(page, {"once": str(uuid.uuid4()), "file": SimpleUploadedFile("x.xml", BOMB)})
    assert (wrong.status_code, "document type of its own" in wrong.content.decode()) == (422, True)
    content = files.xml(line("214.00", BT_155="GH-0041"), line("9.00", "1", "9", BT_153="Carriage"))
    sent = client.post(page, {"once": str(uuid.uuid4()), "file": SimpleUploadedFile("R-100.xml", content)})
    assert sent.status_code == 303, sent.content.decode()
    here = sent["Location"]
    shown = client.get(here).content.decode()
    for words in ("Head gasket, B2", "Recognised by their number", "Not recognised", "€214.00", "€223.00", "R-100.xml"):
        assert words in shown, words
    assert "R-100" in client.get(page).content.decode()
    fields = {"what_1_0": f"goods-{came.pk}", "quantity_1_0": "10", "what_2_0": "", "once": str(uuid.uuid4())}
    refused = client.post(here, fields)
    assert (refused.status_code, "id_what_2_0_error" in refused.content.decode()) == (422, True)
    done = client.post(here, fields | {"what_2_0": "freight"})
    assert done.status_code == 303, done.content.decode()
    bill = client.get(done["Location"]).content.decode()
    assert ("R-100.xml" in bill, "€223.00" in bill, "€9.00" in bill) == (True, True, True)
    assert client.get(here)["Location"] == done["Location"]


def test_whose_it_is_and_set_aside_on_the_page(client, office, came):
    client.force_login(office)
    row = files.kept(office, files.xml(line("214.00"), seller="Nobody"))
    here = reverse("buying:incoming-look", args=[row.pk])
    assert "Whose is it?" in client.get(here).content.decode()
    whose = {"supplier": came.receipt.supplier_id, "once": str(uuid.uuid4())}
    client.post(reverse("buying:incoming-supplier", args=[row.pk]), whose)
    shown = client.get(here).content.decode()
    assert ("Whose is it?" in shown, "What it charges" in shown) == (False, True)
    client.post(reverse("buying:incoming-aside", args=[row.pk]), {"once": str(uuid.uuid4())})
    assert "None waits" in client.get(reverse("buying:incoming")).content.decode()


def test_the_stores_look_and_do_not_record(api, client, stores, mechanic, office, came):
    row = files.kept(office, files.xml(line("214.00")))
    assert api(stores).get(f"incoming-invoices/{row.pk}/").status_code == 200
    assert send(api(stores), b"<x/>").status_code == 403
    assert api(stores).post(f"incoming-invoices/{row.pk}/take/", {}).status_code == 403
    assert api(mechanic).get("incoming-invoices/").status_code == 403
    client.force_login(stores)
    assert client.get(reverse("buying:incoming")).status_code == 403


def test_a_look_asks_as_often_for_many_lines_as_for_few(office, stores):
    def asked(count):
        lines = []
        for n in range(count):
            each = made_parts.part(stores, f"GKT-{count}{n}")
            made.offer(stores, each, number=f"S-{count}{n}")
            made.received(stores, made.sent(stores, each, "10"), f"{count}-{n}")
            lines.append(line("214.00", BT_155=f"S-{count}{n}"))
        row = files.kept(office, files.xml(*lines, number=f"R-{count}"))
        with CaptureQueriesContext(connection) as queries:
            assert all(x.part and x.proposed for x in incoming.look(row.pk).lines)
        return len(queries)

    assert asked(2) == asked(8)


def test_the_list_asks_as_often_for_many_as_for_few(api, office):
    client = api(office)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert client.get("incoming-invoices/").status_code == 200
        return len(queries)

    for n in range(2):
        files.kept(office, files.xml(line("214.00"), number=f"A{n}"))
    few = asked()
    for n in range(4):
        files.kept(office, files.xml(line("214.00"), number=f"B{n}"))
    assert asked() == few
