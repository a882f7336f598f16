"""Deposits and stage payments: asked for, taken off by VAT rate, given back."""

from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.estimates.models import EstimateLine
from jobs.invoices import actions, checking, prepaid, printing, queries
from jobs.invoices.models import Invoice
from shop.kernel.errors import BadInput, NeedsOverride, NotAllowed, Refused
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments

from .test_invoices_pages import send, words

pytestmark = pytest.mark.django_db


def deposit(owner, paid: bool = True, **wanted) -> Invoice:
    row = actions.draft_deposit(by=owner, **wanted)
    row = actions.issue_invoice(row.pk, None, by=owner)
    if paid:
        make.pay(owner, row, str(row.total_gross))
    return row


def sale(owner, customer, *lines: tuple[str, str], issue: bool = True) -> Invoice:
    """A sale without a card of lines at (price, tax code), deposits taken off."""
    row = actions.draft_invoice(by=owner, customer_id=customer.pk)
    for price, code in lines:
        actions.add_line(row.pk, None, by=owner, text="Exchange engine", unit_price=D(price), tax_code=code)
    actions.take_off_deposits(row.pk, None, by=owner)
    return actions.issue_invoice(row.pk, None, by=owner) if issue else Invoice.objects.get(pk=row.pk)


@pytest.fixture
def customer(owner):
    quote.shop(owner)
    return quote.customer()


def test_a_third_of_what_is_agreed_and_the_final_invoice(owner):
    card = make.finished(owner)
    whole = actions.draft_invoice(by=owner, card_id=card.pk)
    net, gross = whole.total_net, whole.total_gross
    actions.discard_invoice(whole.pk, None, by=owner)
    asked = deposit(owner, card_id=card.pk, percent=D(30))
    agreed = sum(x.net for x in EstimateLine.objects.all())
    assert asked.total_net == (agreed * 30 / 100).quantize(D("0.01"))
    assert (asked.number, asked.supplied_on, asked.kind) == (moments.numbered("INV", 1), None, "deposit")
    final = make.issued(owner, card)
    assert final.total_net + asked.total_net == net
    assert final.total_gross + final.rounding + asked.total_gross == gross
    (line,) = final.lines.filter(deducts=asked)
    assert (line.quantity, line.net, line.basis["tax"]) == (D(-1), -asked.total_net, str(asked.total_tax))
    assert not prepaid.left([asked])
    assert list(checking.wrong()) == []


def test_the_rest_of_a_deposit_is_credited_as_a_sum(owner, customer):
    """Not as a share of a lump; with the VAT and the cent that make it what is left of the deposit exactly."""
    asked = deposit(owner, customer_id=customer.pk, amount=D("141.67"))  # 32.58 VAT
    sale(owner, customer, ("54.03", "S23"))
    browser = Client()
    browser.force_login(owner)
    page = browser.get(f"/invoices/{asked.pk}/credit/").content.decode()
    line = asked.lines.get()
    assert "0.618" not in page
    assert "€87.64" in page
    assert send(browser, f"/invoices/{asked.pk}/credit/", {"reason": "Less work"}).status_code == 422
    assert (
        send(browser, f"/invoices/{asked.pk}/credit/", {"reason": "Less work", f"line_{line.pk}": "on"}).status_code
        == 303
    )
    note = asked.credit_notes.get()
    assert (note.total_net, note.payable) == (D("87.64"), D("107.79"))
    assert not prepaid.left([asked])


def test_by_rate(owner, customer):
    """Half of a whole of two rates; the other half is charged at the same two."""
    one = deposit(owner, customer_id=customer.pk, amount=D(100))  # 23 %
    final = sale(owner, customer, ("150", "S23"), ("80", "S13"))
    assert {g["percent"]: g["base"] for g in final.tax_groups} == {"23": "50.0000", "13.5": "80.0000"} or {
        g["percent"]: D(g["base"]) for g in final.tax_groups
    } == {"23": D(50), "13.5": D(80)}
    assert (final.total_net, final.total_tax) == (D(130), D("22.30"))
    assert final.total_gross + one.total_gross == D("150") * D("1.23") + D("80") * D("1.135")


def test_bigger_than_the_final_gives_a_credit_to_pay_back(api, owner, customer):
    asked = deposit(owner, customer_id=customer.pk, amount=D(500))  # 615.00 with VAT
    final = sale(owner, customer, ("300", "S23"))
    assert (final.total_gross, queries.state_of(final)) == (D(0), "paid")
    client = api(owner)
    (left,) = client.get(f"deposits/{asked.pk}/left/").json()["items"]
    assert (left["net"], left["tax"], left["tax_percent"]) == ("200.00", "46.00", "23")
    note = client.post(f"invoices/{asked.pk}/credit/", {"reason": "The work came to less"}).json()
    assert (note["total_net"], note["due"], note["outstanding"]) == ("200.00", "246.00", "-246.00")
    assert client.get(f"balances/{customer.pk}/").json()["credit"] == "246.00"
    assert client.post(f"invoices/{asked.pk}/credit/", {"reason": "Again"}).status_code == 409
    assert actions.refund(
        by=owner, customer_id=customer.pk, amount=D(246), method="transfer", paid_on=final.issued_on
    ).amount == D(-246)  # fmt: skip
    assert list(checking.wrong()) == []


def test_over_the_api(api, owner, customer):
    client = api(owner)
    asked = client.post("deposits/", {"customer_id": customer.pk, "amount": "100"}).json()
    assert (asked["kind"], asked["state"], asked["total_net"]) == ("deposit", "draft", "100.00")
    assert (
        client.post("deposits/", {"customer_id": customer.pk, "percent": "10"}).json()["errors"][0]["pointer"]
        == "/percent"
    )
    assert client.post(f"invoices/{asked['id']}/issue/", {}).json()["supplied_on"] is None
    draft = client.post("invoices/", {"customer_id": customer.pk}).json()
    assert client.post(f"invoices/{draft['id']}/take-off-deposits/", {}).json()["type"].endswith("no-deposit-left")
    client.post("invoice-lines/", {"invoice_id": draft["id"], "text": "Engine", "unit_price": "300"})
    assert client.post(f"invoices/{draft['id']}/take-off-deposits/", {}).json()["total_net"] == "200.00"
    lines = client.get("invoice-lines/", invoice_id=draft["id"]).json()["items"]
    assert [x["deducts_id"] for x in lines] == [None, asked["id"]]


def test_what_is_not_paid_is_not_taken_off_unless_the_owner_says_so(owner, office, customer):
    deposit(owner, paid=False, customer_id=customer.pk, amount=D(100))
    draft = sale(owner, customer, ("300", "S23"), issue=False)
    with pytest.raises(NeedsOverride, match=r"isn't paid: 123.00 EUR is open") as told:
        actions.issue_invoice(draft.pk, None, by=office)
    assert told.value.code == "deposit-not-paid"
    with pytest.raises(NotAllowed):
        actions.issue_invoice(draft.pk, None, by=office, override="They will")
    assert actions.issue_invoice(draft.pk, None, by=owner, override="Paid at the bank today").total_net == D(200)


def test_a_deposit_credited_meanwhile_is_not_taken_off(owner, customer):
    asked = deposit(owner, customer_id=customer.pk, amount=D(100))
    draft = sale(owner, customer, ("300", "S23"), issue=False)
    actions.credit_note(asked.pk, by=owner, reason="Other plan")
    with pytest.raises(Refused, match="less is left") as told:
        actions.issue_invoice(draft.pk, None, by=owner)
    assert told.value.code == "deducted-meanwhile"
    actions.take_off_deposits(draft.pk, None, by=owner)
    assert actions.issue_invoice(draft.pk, None, by=owner).total_net == D(300)


def test_the_rest_moves_with_the_lines(owner, customer):
    """Lines that go after the deposit was taken off leave it larger than the invoice: said, not issued."""
    deposit(owner, customer_id=customer.pk, amount=D(400))
    draft = sale(owner, customer, ("300", "S23"), ("200", "S23"), issue=False)
    actions.remove_line(draft.lines.order_by("position").first().pk, None, by=owner)
    with pytest.raises(Refused) as told:
        actions.issue_invoice(draft.pk, None, by=owner)
    assert told.value.code == "deposit-too-large"
    actions.take_off_deposits(draft.pk, None, by=owner)
    assert actions.issue_invoice(draft.pk, None, by=owner).total_gross == 0


def test_crediting_the_final_brings_the_deposit_back(owner, customer):
    asked = deposit(owner, customer_id=customer.pk, amount=D("33.33"))
    final = sale(owner, customer, ("99.99", "S23"), ("10", "S13"))
    big = final.lines.get(net=D("99.99"))
    with pytest.raises(Refused) as told:  # the one line alone is more than the invoice charges with the deposit off
        actions.credit_note(final.pk, by=owner, reason="Wrong", quantities={big.pk: big.quantity})
    assert told.value.code == "more-than-charged"
    note = actions.credit_note(final.pk, by=owner, reason="Wrong")
    assert note.total_gross + note.rounding == final.total_gross + final.rounding
    (left,) = prepaid.left([asked])
    assert (left.net, left.tax) == (D("33.33"), D("7.67"))
    actions.credit_note(asked.pk, by=owner, reason="Wrong, too")
    assert (
        queries.balance(customer.pk).balance == -asked.total_gross
    )  # what was paid; no document charges anything any more
    assert list(checking.wrong()) == []


def test_discount_is_not_of_the_deposit(owner, customer):
    deposit(owner, customer_id=customer.pk, amount=D(100))
    draft = sale(owner, customer, ("300", "S23"), issue=False)
    actions.edit_invoice(draft.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    final = actions.issue_invoice(draft.pk, None, by=owner)
    assert (final.sum_net, final.total_net) == (D(200), D(170))
    actions.credit_note(final.pk, by=owner, reason="All wrong")
    assert list(checking.wrong()) == []


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        ({"percent": D(0)}, "percent"), ({"percent": D(101)}, "percent"), ({"percent": D("1.2345")}, "percent"),
        ({"amount": D(0)}, "amount"), ({"amount": D("0.001")}, "amount"), ({"amount": D(10**13)}, "amount"),
        ({}, "amount"), ({"amount": D(1), "percent": D(1)}, "amount"), ({"percent": D(10)}, "percent"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_for(owner, customer, wanted, field):
    with pytest.raises(BadInput) as told:
        actions.draft_deposit(by=owner, customer_id=customer.pk, **wanted)
    assert field in told.value.fields
    assert not Invoice.objects.exists()


def test_not_more_than_agreed_and_one_draft_at_a_time(owner):
    card = make.finished(owner)
    with pytest.raises(BadInput, match="without VAT is agreed"):
        actions.draft_deposit(by=owner, card_id=card.pk, amount=D(5000))
    actions.draft_deposit(by=owner, card_id=card.pk, amount=D(50))
    with pytest.raises(Refused, match="there already"):
        actions.draft_deposit(by=owner, card_id=card.pk, amount=D(50))


def test_a_deduction_is_no_line_to_change(owner, customer):
    asked = deposit(owner, customer_id=customer.pk, amount=D(100))
    draft = sale(owner, customer, ("300", "S23"), issue=False)
    line = draft.lines.get(deducts=asked)
    with pytest.raises(Refused):
        actions.edit_line(line.pk, None, by=owner, unit_price=D(1))
    actions.remove_line(line.pk, None, by=owner)
    final = actions.issue_invoice(draft.pk, None, by=owner)
    assert final.total_net == D(300)
    with pytest.raises(Refused):
        actions.take_off_deposits(asked.pk, None, by=owner)


def test_over_the_pages(owner):
    browser = Client()
    browser.force_login(owner)
    card = make.finished(owner)
    page = f"/cards/{card.pk}/deposit/"
    assert page in browser.get(f"/cards/{card.pk}/").content.decode()
    for wrong in ({}, {"percent": "30", "amount": "5"}, {"percent": "x"}, {"amount": "-1"}):
        assert send(browser, page, wrong).status_code == 422
    asked = send(browser, page, {"percent": "30"})["Location"]
    pk = int(asked.split("/")[2])
    assert send(browser, f"{asked}issue/", {"version": 1}).status_code == 303
    row = Invoice.objects.get(pk=pk)
    assert "are not taken off yet" in words(browser.get(asked))
    make.pay(owner, row, str(row.total_gross))
    send(browser, f"/cards/{card.pk}/invoice/")
    final = Invoice.objects.get(kind="invoice")
    said = words(browser.get(f"/invoices/{final.pk}/"))
    assert f"Deposit invoice {row.number}" in said
    assert "Deposits taken off" in said
    send(browser, f"/invoices/{final.pk}/lines/{final.lines.get(deducts=row).pk}/", {"go": "remove"})
    assert "Take deposits off" in words(browser.get(f"/invoices/{final.pk}/"))
    send(browser, f"/invoices/{final.pk}/deposits/")
    assert final.lines.filter(deducts=row).exists()
    customer = card.customer_id
    asked = send(browser, f"/customers/{customer}/deposit/", {"amount": "100"})
    assert asked["Location"].startswith("/invoices/")


def test_the_paper_names_net_and_tax_of_each_deposit(owner, customer):
    for amount in ("100", "50.01"):
        deposit(owner, customer_id=customer.pk, amount=D(amount))
    final = sale(owner, customer, ("300", "S23"), ("80", "S13"))
    text = reading.text(printing.pdf(final))
    assert "100.00 without VAT and 23.00 VAT" in text
    assert "50.01 without VAT and 11.50 VAT" in text
    assert "taken off with the VAT they charged" in text


def test_the_line_that_takes_a_german_deposit_off_says_its_day_as_the_paper_does(owner, customer):
    german = quote.customer(name="Priel Mühle", language="de", country="DE")
    asked = deposit(owner, customer_id=german.pk, amount=D(100))
    final = sale(owner, german, ("300", "S23"))
    line = final.lines.get(deducts=asked)
    assert line.text == f"Anzahlungsrechnung {asked.number} vom {asked.issued_on:%d.%m.%Y}"
    assert line.text in reading.text(printing.pdf(final))


def test_where_nothing_is_due_the_paper_asks_for_no_payment(owner, customer):
    deposit(owner, customer_id=customer.pk, amount=D(300))
    final = sale(owner, customer, ("300", "S23"))
    text, owed = (reading.text(printing.pdf(x)) for x in (final, make.sale(owner, customer)))
    for what in (" Due ", "Payable without deduction.", " Reference "):
        assert what in owed
        assert what not in text
    assert (owed.count("IBAN"), text.count("IBAN")) == (2, 1)  # the footer's stays
    said = "Nothing is left to pay on this invoice."
    assert said in text
    assert said not in owed
