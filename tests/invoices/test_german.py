"""Documents in German: nothing of them is left in English, or in a code."""

from decimal import Decimal as D

import pytest

from jobs.estimates import actions as estimates
from jobs.invoices import actions
from shop.business import actions as business
from shop.business.models import LabourRate, TaxRate
from shop.documents.formatting import Formatter, languages, strings
from shop.kernel import clock
from shop.kernel.units import UNITS
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import parts

pytestmark = pytest.mark.django_db

GERMAN = "Steuerschuldnerschaft des Leistungsempfängers"


@pytest.fixture
def firm(owner):
    quote.shop(owner)
    rate = TaxRate.objects.get(code="AE")
    business.edit_tax_rate(rate.pk, None, by=owner, reasons={"de": GERMAN})
    return quote.customer(name="Dünenpumpen GmbH", country="DE", vat_no="DE123456788", kind="firm", language="de")


def test_why_no_vat_is_charged_on_paper_and_in_the_electronic_invoice(api, owner, firm):
    client = api(owner)
    pk = client.post("invoices/", {"customer_id": firm.pk}).json()["id"]
    client.post("invoice-lines/", {"invoice_id": pk, "text": "Pumpe", "unit_price": "900", "tax_code": "AE"})
    assert client.post(f"invoices/{pk}/issue/").status_code == 200
    paper = client.get(f"invoices/{pk}/pdf/").content
    assert GERMAN in reading.text(paper)
    assert "Reverse charge" not in reading.text(paper)
    assert GERMAN in client.get(f"invoices/{pk}/ubl/").content.decode()
    business.edit_tax_rate(TaxRate.objects.get(code="AE").pk, None, by=owner, reasons={})
    assert client.get(f"invoices/{pk}/pdf/").content == paper, "an issued one keeps its words"


def test_a_revision_an_area_and_least_hours(api, owner, firm):
    for rate in LabourRate.objects.all():
        business.edit_labour_rate(rate.pk, None, by=owner, minimum_hours=D("4.5"))
    card = quote.card(owner, firm)
    fit = quote.stage(owner, card)
    quote.need(owner, fit, parts.part(owner, "GSH-1", "Gasket sheet", unit="CMK", sale_price=D("0.02")), "400")
    first = quote.issued(owner, card)
    again = estimates.issue_estimate(estimates.new_revision(first.pk, by=owner).pk, None, by=owner)
    said = " ".join(reading.text(api(owner).get(f"estimates/{again.pk}/pdf/").content).split())
    assert "400 cm²" in said
    assert "mindestens 4,5 Std. berechnet" in said
    assert f"Ersetzt {first.number}" in said
    third = estimates.issue_estimate(estimates.new_revision(again.pk, by=owner).pk, None, by=owner)
    said = " ".join(reading.text(api(owner).get(f"estimates/{third.pk}/pdf/").content).split())
    assert f"Ersetzt {first.number} Fassung 2" in said
    assert "rev. 2" not in said


def test_every_unit_has_a_word_in_every_language():
    for language in languages():
        assert UNITS.keys() - strings(language)["units"].keys() == set(), language


@pytest.mark.parametrize(("month", "hour"), [(1, 14), (7, 15)])
def test_a_moment_is_that_of_the_clock_on_the_wall(month, hour):
    """Kept in UTC; Dublin is an hour ahead in summer."""
    at = clock.now().replace(year=2026, month=month, day=15, hour=14, minute=30)
    assert f"{hour}:30" in Formatter("en", "EUR").moment(at)
    late = clock.now().replace(year=2026, month=7, day=31, hour=23, minute=20)
    assert "1" in Formatter("de", "EUR").moment(late).split(".")[0]


def test_a_credit_note_has_one_name(api, owner, firm, client):
    """ "Gutschrift" is what German VAT law calls an invoice that the buyer writes."""
    issued = make.sale(owner, firm)
    note = actions.credit_note(issued.pk, by=owner, reason="Falsches Teil")
    client.force_login(owner)
    papers = [
        api(owner).get(f"invoices/{note.pk}/pdf/").content,
        client.get(f"/customers/{firm.pk}/statement.pdf").content,
    ]
    for paper in papers:
        said = reading.text(paper)
        assert "Rechnungskorrektur" in said
        assert "Gutschrift" not in said
