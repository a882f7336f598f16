"""What jobs earned, as the owner sees it."""

import csv
import io
from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.books import earned, gathering
from jobs.invoices import actions as invoices
from jobs.invoices.models import Invoice, Payment
from shop.business import actions as business
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import charges
from tests.factories import estimates as quote
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


def labour_of(owner, off: str = "0") -> Invoice:
    """800.00 of labour and 200.00 of something else at one rate, ten hours booked; `off`: per cent off the whole."""
    card, fit = make.job(owner)
    bills.work(owner, fit, "10")
    draft = bills.draft(owner, card)
    for line in draft.lines.all():
        invoices.remove_line(line.pk, None, by=owner)
    for text, kind, price in (("Refit", "labour", "800"), ("Starter", "sundry", "200")):
        invoices.add_line(
            draft.pk, None, by=owner, text=text, kind=kind, unit_price=D(price), tax_code="S23",
            reason="Asked for on the quay",
        )  # fmt: skip
    if D(off):
        invoices.edit_invoice(draft.pk, None, by=owner, discount_percent=D(off), discount_reason="Old customer")
    return invoices.issue_invoice(draft.pk, None, by=owner)


def pay_early(owner, invoice: Invoice, share: str) -> Payment:
    return invoices.record_payment(
        by=owner, customer_id=invoice.customer_id, amount=D(share), method="transfer", received_on=clock.today(),
        allocations={invoice.pk: D(share)}, early=[invoice.pk],
    )  # fmt: skip


def charged(owner, api) -> tuple[str, str]:
    """Labour charged and what of it comes to an hour; the total is the sum of its rows."""
    found = api(owner).get("jobs-earned/", **OCTOBER).json()
    assert D(found["labour_net"]) == sum(D(x["labour_net"]) for x in found["lines"])
    assert D(found["rate"]) == D(found["labour_net"]) / D(found["hours"])
    return found["labour_net"], found["rate"]


def test_an_hour_charges_what_a_discount_on_the_whole_leaves(owner, api):
    with clock.at(make.OCTOBER):
        invoice = labour_of(owner, "20")
    assert invoice.total_net == 800
    assert charged(owner, api) == ("640.00", "64.00")
    invoices.credit_note(
        invoice.pk, by=owner, reason="Half of it again", quantities={invoice.lines.get(kind="labour").pk: D("0.5")}
    )
    assert charged(owner, api) == ("320.00", "32.00")
    invoices.credit_note(invoice.pk, by=owner, reason="All of it")
    assert charged(owner, api) == ("0.00", "0.00")


def test_an_hour_charges_what_early_payment_leaves(owner, api):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(5), early_days=10)
    with clock.at(make.OCTOBER):
        invoice = labour_of(owner, "20")  # 984.00 with VAT, 49.20 off
        paid = pay_early(owner, invoice, "934.80")
        assert charged(owner, api) == ("608.00", "60.80")
        invoices.reverse_payment(paid.pk, by=owner, reason="Bounced")
        assert charged(owner, api) == ("640.00", "64.00")
        pay_early(owner, invoice, "934.80")
        invoices.credit_note(invoice.pk, by=owner, reason="All of it")
    assert charged(owner, api) == ("0.00", "0.00")


def test_a_core_deposit_bears_no_discount_for_labour(owner, api):
    """Not as it is charged, nor as what was paid early is credited, which takes some off the deposit, too."""
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=10)
    with clock.at(make.OCTOBER):
        card, fit, part = charges.job(owner, "1")
        quote.agreed(owner, card)
        bills.work(owner, fit, "1")
        bills.use(owner, fit, part, "1")
        draft = bills.draft(owner, card)
        invoices.edit_invoice(draft.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
        invoice = invoices.issue_invoice(draft.pk, None, by=owner)
        labour = invoice.lines.get(kind="labour").net
        assert invoice.lines.filter(kind="core").exists()
        due = invoice.total_gross + invoice.rounding
        assert D(charged(owner, api)[0]) == labour * D("0.9")
        pay_early(owner, invoice, str(due - (due * D("0.02")).quantize(D("0.01"))))
        assert abs(D(charged(owner, api)[0]) - labour * D("0.882")) <= D("0.01")
        invoices.credit_note(invoice.pk, by=owner, reason="All of it")
    assert abs(D(charged(owner, api)[0])) <= D("0.02")


def test_labour_charged_stands_in_the_table_and_the_file(owner):
    with clock.at(make.OCTOBER):
        labour_of(owner, "20")
    client = Client()
    client.force_login(owner)
    text = client.get("/books/earned/", OCTOBER).content.decode()
    assert text.count("€640.00") == 2  # the total and its only row
    assert "or closed in them without an invoice" in text
    head, row = csv.reader(io.StringIO(client.get("/books/earned.csv", OCTOBER).content.decode("utf-8-sig")))
    assert row[head.index("Labour charged")] == "640.00"
