"""Tables in and out, as the office meets them."""

from __future__ import annotations

import io
import uuid
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from openpyxl import Workbook, load_workbook

from inventory.buying.models import Supplier
from inventory.parts.models import Part
from inventory.stock.models import Lot, StockLevel
from jobs.exchange import actions
from jobs.exchange.models import ImportRun
from jobs.machines.models import Customer, Machine
from shop.kernel.errors import BadInput, NotAllowed
from shop.trail import outbox
from tests.factories.parts import part
from tests.factories.stock import bin_

pytestmark = pytest.mark.django_db

PARTS = "number,name,kind,unit,single_use,sale_price\nGKT-041,Head gasket,gasket,C62,yes,38.50\nSEA-070,Sealant,measured,MLT,no,0.24\n"


def check(by, kind, text, name="table.csv", **more):
    raw = text if isinstance(text, bytes) else text.encode()
    return actions.keep_file(actions.check_file(by=by, kind=kind, name=name, raw=raw, **more), by=by)


def bring_in(by, kind, text, only_good=False, **more):
    run = check(by, kind, text, **more)
    actions.start_import(run.pk, by=by, only_good=only_good)
    outbox.drain()
    return ImportRun.objects.get(pk=run.pk)


def test_parts_come_in(stores):
    run = bring_in(stores, "parts", PARTS)
    assert (run.rows, run.bad, run.written, run.refused, run.state) == (2, 0, 2, [], "Written")
    gasket = Part.objects.get(number="GKT-041")
    assert (gasket.single_use, gasket.sale_price) == (True, Decimal("38.50"))


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffnumber;name;kind;sale_price\nGKT-041;Kopfdichtung „groß“;gasket;38,50\n",
        "number\tname\tkind\tsale_price\nGKT-041\tKopfdichtung „groß“\tgasket\t38.50\n",
        '"number","name","kind","sale_price"\r\n"GKT-041","Kopfdichtung „groß“","gasket","38.50"\r\n',
    ],
)
def test_bom_semicolons_tabs_and_decimal_commas(stores, text):
    bring_in(stores, "parts", text)
    found = Part.objects.get()
    assert (found.name, found.sale_price) == ("Kopfdichtung „groß“", Decimal("38.50"))


def test_a_workbook_comes_in(stores):
    book = Workbook()
    book.active.append(["number", "name", "kind", "sale_price", "shelf_life_days"])
    book.active.append(["CON-801", "Jointing compound", "measured", 0.1, 730])
    out = io.BytesIO()
    book.save(out)
    bring_in(stores, "parts", out.getvalue(), name="parts.xlsx")
    assert (Part.objects.get().sale_price, Part.objects.get().shelf_life_days) == (Decimal("0.1"), 730)


def test_every_finding_names_row_and_column_and_nothing_is_written(stores):
    text = (
        "number,name,kind,unit,sale_price,shelf_life_days\n"
        "A-1,Good one,gasket,C62,1.00,\n"
        ",No number,gasket,C62,1.00,\n"
        "A-2,Bad kind,spanner,C62,1.00,\n"
        "A-3,Bad unit,gasket,XYZ,1.00,\n"
        "A-4,Bad price,gasket,C62,-1,\n"
        "A-5,No price and no unit,gasket,XYZ,abc,\n"
        "A-6,Bad days,gasket,C62,1.00,1.5\n"
        "a-1,Twice,gasket,C62,1.00,\n"
    )
    run = check(stores, "parts", text)
    assert (run.rows, run.bad, run.good) == (8, 7, 1)
    assert [(f["row"], f["column"]) for f in run.findings] == [
        (3, "number"), (4, "kind"), (5, "unit"), (6, "sale_price"), (7, "unit"), (7, "sale_price"),
        (8, "shelf_life_days"), (9, "number"),
    ]  # fmt: skip
    assert all(f["text"] for f in run.findings)
    assert not Part.objects.exists()
    from shop.kernel.errors import Refused

    with pytest.raises(Refused, match="7 of 8"):
        actions.start_import(run.pk, by=stores)
    actions.start_import(run.pk, by=stores, only_good=True)
    outbox.drain()
    assert [p.number for p in Part.objects.all()] == ["A-1"]


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "empty"),
        (b"number,name,kind\n", "no rows"),
        (b"number,name,kind,colour\nA,B,gasket,red\n", "colour"),
        (b"number,name\nA,B\n", "missing: kind"),
        (b"number,number,name,kind\nA,A,B,gasket\n", "twice"),
        ("number,name,kind\nA,Dichtung groß,gasket\n".encode("cp1252"), "UTF-8"),
        (b"PK\x03\x04rubbish", "can't be opened"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", ".xls"),
        (b"number,name,kind\nA,B,gasket,extra\n", "more columns"),
        (b"number,name,kind\n\x00A,B,gasket\n", "not a table"),
    ],
)
def test_files_that_are_no_table(stores, raw, says):
    with pytest.raises(BadInput, match=says):
        actions.check_file(by=stores, kind="parts", name="x.csv", raw=raw)


def test_customers_machines_suppliers_and_stock(owner, stores, office):
    bring_in(
        office, "customers",
        "name,kind,email,country,language,mail_consent\nCockle Row Ferries,firm,boats@cocklerow.example,IE,en,yes\n",
    )  # fmt: skip
    assert Customer.objects.get().mail_consent_at is not None
    run = bring_in(
        office, "machines",
        "customer,kind,maker,model,serial_no,year,usage\n"
        "cockle row ferries,engine,Brindlecote,B2,B2-04417,1998,6412\nNobody,engine,,,,,\n",
        only_good=True,
    )  # fmt: skip
    assert (run.written, run.findings[0]["column"]) == (1, "customer")
    assert Machine.objects.get().readings.get().value == 6412
    bring_in(stores, "suppliers", "name,city,lead_days\nGullhaven Seals,Gullhaven,4\n")
    assert Supplier.objects.get().lead_days == 4
    gasket = part(stores)
    bin_(stores, "A3-02")
    run = bring_in(
        stores, "stock",
        "part;bin;quantity;unit_cost;batch;expires_on\nGKT-041;A3-02;3;21,40;B1;31.12.2099\nGKT-041;Z9;1;1;;\n"
        "GKT-041;A3-02;1,5;1;;\n",
        only_good=True,
    )  # fmt: skip
    assert [(f["row"], f["column"]) for f in run.findings] == [(3, "bin"), (4, "quantity")]
    assert StockLevel.objects.get(part=gasket).on_hand == 3
    assert (Lot.objects.get().unit_cost, str(Lot.objects.get().expires_on)) == (Decimal("21.40"), "2099-12-31")


def test_a_run_that_was_cut_off_goes_on_and_a_repeat_writes_once(stores, monkeypatch):
    monkeypatch.setattr(actions, "CHUNK", 2)
    rows = "".join(f"A-{n},Part {n},sundry\n" for n in range(5))
    run = check(stores, "parts", "number,name,kind\n" + rows)
    actions.start_import(run.pk, by=stores)
    from jobs.exchange.columns import match
    from jobs.exchange.kinds import kind_of
    from jobs.exchange.sheets import read

    sheet = read("x.csv", ("number,name,kind\n" + rows).encode())
    table = kind_of("parts")
    actions._write_chunk(run.pk, table, sheet, match(sheet.header, table.columns), table.know())  # then the power fails
    assert Part.objects.count() == 2
    actions.write_rows(run.pk)
    actions.write_rows(run.pk)
    run.refresh_from_db()
    assert (Part.objects.count(), run.written) == (5, 5)


def test_what_somebody_else_took_meanwhile_is_told(stores):
    run = check(stores, "parts", PARTS)
    part(stores, "GKT-041")
    actions.start_import(run.pk, by=stores)
    outbox.drain()
    run.refresh_from_db()
    assert (run.written, [(r["row"], r["column"]) for r in run.refused]) == (1, [(2, "number")])


def test_who_may(mechanic, stores, office):
    with pytest.raises(NotAllowed):
        check(mechanic, "parts", PARTS)
    with pytest.raises(NotAllowed):
        check(stores, "customers", "name\nA\n")
    with pytest.raises(NotAllowed):
        check(office, "parts", PARTS)


def signed_in(by) -> Client:
    client = Client()
    client.force_login(by)
    return client


def test_the_pages_take_a_file_through(stores):
    client = signed_in(stores)
    assert client.get("/import/").status_code == 200
    once = str(uuid.uuid4())

    def send():
        file = SimpleUploadedFile("parts.csv", PARTS.encode())
        return client.post("/import/", {"kind": "parts", "decimals": "auto", "file": file, "once": once})

    first, again = send(), send()
    assert first.status_code == again.status_code == 303
    assert first["Location"] == again["Location"]
    assert ImportRun.objects.count() == 1
    shown = client.get(first["Location"])
    assert b"All rows can be taken" in shown.content
    assert not Part.objects.exists()
    client.post(first["Location"] + "write/", {"once": str(uuid.uuid4())})
    outbox.drain()
    assert b"rows are written" in client.get(first["Location"]).content
    assert Part.objects.count() == 2
    wrong = client.post(
        "/import/",
        {
            "kind": "parts",
            "decimals": "auto",
            "file": SimpleUploadedFile("x.csv", b"a,b\n1,2\n"),
            "once": str(uuid.uuid4()),
        },
    )
    assert wrong.status_code == 422
    assert "not known here" in wrong.content.decode()


def test_what_goes_out_comes_in_again(stores, owner):
    bring_in(stores, "parts", PARTS.replace("Head gasket", "=cmd|' /C calc'!A0"))
    client = signed_in(stores)
    out = client.get("/export/parts.csv").content
    assert out.startswith(b"\xef\xbb\xbfnumber,name,kind")
    assert b"'=cmd" in out  # no spreadsheet runs it
    book = load_workbook(io.BytesIO(client.get("/export/parts.xlsx").content))
    assert book.active.max_row == 3
    run = check(stores, "parts", out)
    assert {f["column"] for f in run.findings} == {"number"}  # all are there already, and nothing else is wrong
    assert signed_in(stores).get("/export/customers.csv").status_code == 403
    assert signed_in(owner).get("/export/stock.csv").status_code == 200
    assert signed_in(owner).get("/export/nothing.csv").status_code == 404


def test_over_the_api(api, stores, mechanic):
    client = api(stores)

    def send(kind="parts", key="b7c1e1aa-5"):
        return client.client.post(
            "/api/v1/imports/", {"kind": kind, "file": SimpleUploadedFile("parts.csv", PARTS.encode())},
            headers=client.headers | {"Idempotency-Key": key},
        )  # fmt: skip

    first, again = send(), send()
    assert first.status_code == 201, first.content
    assert (first.content, again["Idempotent-Replay"]) == (again.content, "true")
    pk = first.json()["id"]
    started = client.post(f"imports/{pk}/start/")
    assert started.status_code == 200, started.content
    outbox.drain()
    assert client.get(f"imports/{pk}/").json()["written"] == 2
    assert client.post(f"imports/{pk}/start/").status_code == 409
    assert send("spanners", "b7c1e1aa-6").status_code == 400
    assert client.get("exports/parts/csv/").status_code == 200
    assert api(mechanic).get("imports/").status_code == 403
