"""What jobs earned, as the owner sees it."""

from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.books import earned, gathering
from jobs.invoices import actions as invoices
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def test_a_job_earns_what_is_invoiced_less_parts_and_hours(owner, office, api):
    invoice = make.month(owner)
    found = api(owner).get("jobs-earned/", **OCTOBER).json()
    (job,) = found["lines"]
    # two ring sets at 43.50 in the end, 5.25 h at 24.00
    assert (job["card_id"], job["parts"], job["hours"], job["labour"]) == (invoice.card_id, "87.00", "5.25", "126.00")
    assert D(job["net"]) == invoice.total_net
    assert D(job["earned"]) == D(found["earned"]) == invoice.total_net - 87 - 126 > 0
    labour = [x for x in invoice.lines.all() if x.kind == "labour"]
    sold = sum(x.quantity for x in labour if x.unit == "HUR")
    assert D(found["sold"]) == D(job["sold"]) == sold > 0
    assert D(found["sold_of_worked"]) == (sold * 100 / D("5.25")).quantize(D("0.01"))
    assert D(found["rate"]) == (sum(x.net for x in labour) / D("5.25")).quantize(D("0.01"))
    assert api(owner).get("jobs-earned/").json()["lines"] == []
    assert api(office).get("jobs-earned/").status_code == 403
    invoices.credit_note(invoice.pk, by=owner, reason="Came back")
    assert api(owner).get("jobs-earned/", **OCTOBER).json()["earned"] == "-213.00"
    assert api(owner).get("jobs-earned/", **OCTOBER).json()["sold"] == "0"


def test_deposit_and_final_invoice_are_one_job(owner, api):
    with clock.at(make.OCTOBER):
        card = bills.finished(owner)
        whole = invoices.draft_invoice(by=owner, card_id=card.pk)
        net = whole.total_net
        invoices.discard_invoice(whole.pk, None, by=owner)
        asked = bills.deposit(owner, card, "30")
        bills.pay(owner, asked, str(asked.total_gross))
        bills.issued(owner, card)
    assert D(api(owner).get("jobs-earned/", **OCTOBER).json()["net"]) == net


def test_a_deposit_is_no_income_until_an_invoice_takes_it_off(owner, api):
    """Everywhere as in the journal: of a deposit that is more than the final invoice, what that takes off."""
    client = api(owner)

    def told(card) -> set[D]:
        (job,) = client.get("jobs-earned/", **OCTOBER).json()["lines"]
        (near,) = client.get("estimate-accuracy/", **OCTOBER).json()["lines"]
        single = client.get(f"card-outcomes/{card.pk}/").json()["sum"]["billed"]
        posted = [x for e in gathering.entries(make.OCTOBER.date(), make.NOVEMBER.date()) for x in e.lines]
        sales = sum(-x.amount for x in posted if x.purpose == "sales")
        return {D(job["net"]), D(near["billed"]), D(single), sales}

    with clock.at(make.OCTOBER):
        card = bills.finished(owner)
        asked = bills.deposit(owner, card, "40")
        bills.pay(owner, asked, str(asked.total_gross))
        assert client.get(f"card-outcomes/{card.pk}/").json()["sum"]["billed"] == "0.00"
        draft = bills.draft(owner, card)
        lines = list(draft.lines.filter(deducts=None, kind="labour"))
        for line in lines[1:] + list(draft.lines.filter(deducts=None).exclude(kind="labour")):
            invoices.remove_line(line.pk, None, by=owner)
        invoices.edit_line(lines[0].pk, None, by=owner, quantity=D("0.75"))
        invoices.edit_invoice(draft.pk, None, by=owner, discount_percent=D("7.5"), discount_reason="Old customer")
        invoices.take_off_deposits(draft.pk, None, by=owner)
        final = invoices.issue_invoice(draft.pk, None, by=owner)
        (off,) = final.lines.exclude(deducts=None)
    assert final.total_net == 0 < -off.net < asked.total_net
    assert told(card) == {-off.net}
    with clock.at(make.OCTOBER.replace(day=20)):
        note = invoices.credit_note(final.pk, by=owner, reason="Came back")
    assert note.total_net == 0
    assert told(card) == {D(0)}
    with clock.at(make.OCTOBER.replace(day=21)):
        invoices.credit_note(asked.pk, by=owner, reason="All off")
    assert told(card) == {D(0)}


def test_the_page_and_the_file(owner, office):
    make.month(owner)
    client = Client()
    client.force_login(owner)
    page = client.get("/books/earned/", OCTOBER)
    text = page.content.decode()
    assert page.status_code == 200
    assert text.count("<rect") == 1
    assert "€126.00" in text
    assert "No card was first invoiced" in client.get("/books/earned/").content.decode()
    assert client.get("/books/earned/", {"since": "x"}).status_code == 422
    rows = client.get("/books/earned.csv", OCTOBER).content.decode("utf-8-sig").splitlines()
    assert len(rows) == 2
    assert rows[1].endswith("EUR")
    client.force_login(office)
    assert client.get("/books/earned/").status_code == 403
    assert "earned" not in client.get("/books/").content.decode()


def test_bars_stand_on_either_side_of_nought(owner):
    def job(net: str) -> earned.Job:
        make_card = type("Card", (), {"number": net})()
        return earned.Job(make_card, D(net), D(0), D(0), D(0), D(0))

    bars, nought, height = earned.picture([job("300"), job("-100"), job("0")])
    assert [b.width for b in bars] == [D("412.5"), D("137.5"), D(0)]
    assert (bars[0].x, bars[1].x + bars[1].width, height) == (nought, nought, 60)
    assert bars[0].x + bars[0].width == earned.WIDTH
    assert earned.picture([])[0] == []
