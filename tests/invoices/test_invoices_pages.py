"""The same over the staff pages, without JavaScript."""

import re
import uuid
from decimal import Decimal as D

import pytest
from django.test import Client

from inventory.parts.models import Part
from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.invoices import actions
from jobs.invoices.models import Invoice, Payment
from shop.kernel import clock
from shop.kernel.errors import BadInput
from shop.ui.formats import day
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner)
    return client


def send(client, path, data=None, once=None):
    return client.post(path, {"once": once or str(uuid.uuid4()), **(data or {})})


def words(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()).replace("\u00a0", " ")


def test_from_card_to_paid(browser, owner):
    card = make.finished(owner)
    once = str(uuid.uuid4())
    answers = {send(browser, f"/cards/{card.pk}/invoice/", once=once)["Location"] for _ in range(2)}
    row = Invoice.objects.get()
    assert answers == {f"/invoices/{row.pk}/"}
    page = words(browser.get(f"/invoices/{row.pk}/"))
    for said in ("€543.05", "€124.90", "€667.95", "4 h × €68.00 = €272.00.", "Estimated: 3.5 h."):
        assert said in page, said
    assert send(browser, f"/invoices/{row.pk}/issue/", {"version": row.version}).status_code == 303
    row.refresh_from_db()
    assert row.number
    pay = f"/customers/{card.customer_id}/pay/?invoice={row.pk}"
    assert 'value="667.95"' in browser.get(pay).content.decode()
    given = {
        "amount": "700",
        "method": "transfer",
        "received_on": clock.today().isoformat(),
        f"invoice_{row.pk}": "667,96",
    }
    over = send(browser, pay, given)
    assert over.status_code == 422
    assert "only 667.95 EUR is still to pay" in words(over)
    assert not Payment.objects.exists()
    once = str(uuid.uuid4())
    for _ in range(2):
        assert send(browser, pay, given | {f"invoice_{row.pk}": "667,95"}, once=once).status_code == 303
    assert Payment.objects.count() == 1
    assert "Paid" in words(browser.get(f"/invoices/{row.pk}/"))
    account = words(browser.get(f"/customers/{card.customer_id}/account/"))
    assert "To their credit €32.05" in account
    assert "€32.05" in words(browser.get(f"/customers/{card.customer_id}/"))
    assert send(
        browser, f"/customers/{card.customer_id}/refund/",
        {"amount": "32.05", "method": "cash", "paid_on": clock.today().isoformat()},
    ).status_code == 303  # fmt: skip
    assert "Balance €0.00" in words(browser.get(f"/customers/{card.customer_id}/account/"))


def test_what_was_never_agreed_is_pointed_out(browser, owner, office):
    card = make.finished(owner)
    fit = Stage.objects.get(name="Fit rings and pistons")
    cards.unfinish_stage(fit.pk, by=owner, reason="One more gasket")
    make.use(owner, fit, quote.part(owner, "GKT-041", "Head gasket", "41.75"), "1")
    row = make.draft(owner, card)
    clerk = Client()
    clerk.force_login(office)
    assert "Get the customer's word" in words(clerk.get(f"/invoices/{row.pk}/")).replace("&#x27;", "'")
    charge = {"kind": "part", "stage_id": fit.pk, "part_id": row.lines.first().part_id or "", "reason": "By radio"}
    part = Part.objects.get(number="GKT-041")
    assert send(clerk, f"/invoices/{row.pk}/charge/", charge | {"part_id": part.pk}).status_code == 403
    assert send(browser, f"/invoices/{row.pk}/charge/", charge | {"part_id": part.pk}).status_code == 303
    assert "Not agreed: By radio" in words(browser.get(f"/invoices/{row.pk}/"))


def test_more_than_agreed_needs_the_owner(browser, owner, office):
    row = make.draft(owner)
    line = row.lines.first()
    clerk = Client()
    clerk.force_login(office)
    form = {
        "kind": "labour",
        "text": line.text,
        "quantity": "5",
        "unit": "HUR",
        "unit_price": "68",
        "version": row.version,
    }
    refused = send(clerk, f"/invoices/{row.pk}/lines/{line.pk}/", form | {"reason": "forged"})
    assert refused.status_code == 422
    assert "more than was agreed" in words(refused)
    assert send(browser, f"/invoices/{row.pk}/lines/{line.pk}/", form | {"reason": "Night work"}).status_code == 303
    line.refresh_from_db()
    assert (line.quantity, line.not_agreed) == (D(5), "Night work")


def test_credit_in_part_and_reverse_a_payment(browser, owner):
    invoice = make.issued(owner)
    payment = make.pay(owner, invoice, "100")
    first = invoice.lines.first()
    page = browser.get(f"/invoices/{invoice.pk}/credit/").content.decode()
    assert page.count('name="line_') == 4
    given = {"reason": "Half an hour too much", f"line_{first.pk}": "0.5"}
    assert send(browser, f"/invoices/{invoice.pk}/credit/", given | {f"line_{first.pk}": "50"}).status_code == 422
    credited = send(browser, f"/invoices/{invoice.pk}/credit/", given)
    note = Invoice.objects.get(kind="credit")
    assert credited["Location"] == f"/invoices/{note.pk}/"
    assert note.total_gross == D("41.82")
    assert "Half an hour too much" in words(browser.get(f"/invoices/{note.pk}/"))
    asked = words(browser.get(f"/payments/{payment.pk}/reverse/"))
    assert f"{invoice.customer.name}: €100.00, received on {day(payment.received_on)}, Bank transfer".replace(
        "\u00a0", " "
    ) in asked  # fmt: skip
    assert send(browser, f"/payments/{payment.pk}/reverse/", {"reason": "Bounced"}).status_code == 303
    assert "Reversal" in words(browser.get(f"/customers/{invoice.customer_id}/account/"))


def test_a_sale_without_a_card(browser, owner):
    quote.shop(owner)
    customer = quote.customer()
    send(browser, f"/customers/{customer.pk}/sale/")
    row = Invoice.objects.get()
    added = {"kind": "sundry", "text": "Exchange starter", "unit_price": "100", "version": row.version}
    assert send(browser, f"/invoices/{row.pk}/lines/", added).status_code == 303
    row.refresh_from_db()
    assert send(browser, f"/invoices/{row.pk}/issue/", {"version": row.version}).status_code == 303
    row.refresh_from_db()
    assert row.total_gross == D("123")
    assert row.number in words(browser.get("/invoices/"))


def test_nobody_else_gets_in(mechanic, stores, owner):
    row = make.issued(owner)
    for person in (mechanic, stores):
        client = Client()
        client.force_login(person)
        for path in (
            f"/invoices/{row.pk}/", "/invoices/", f"/invoices/{row.pk}/pdf/", f"/customers/{row.customer_id}/account/",
            f"/customers/{row.customer_id}/pay/", f"/invoices/{row.pk}/credit/",
        ):  # fmt: skip
            assert client.get(path).status_code == 403, path
        assert send(client, f"/invoices/{row.pk}/issue/").status_code == 403


def test_lists_ask_the_database_no_more_for_more_rows(browser, owner, django_assert_max_num_queries):
    customer = quote.customer()
    make.sale(owner, customer)
    with django_assert_max_num_queries(40) as few:
        browser.get("/invoices/"), browser.get(f"/customers/{customer.pk}/account/")
    for _ in range(4):
        make.pay(owner, make.sale(owner, customer), "10")
    with django_assert_max_num_queries(len(few.captured_queries)):
        browser.get("/invoices/"), browser.get(f"/customers/{customer.pk}/account/")


def test_issue_pressed_on_a_page_that_was_issued_meanwhile_says_so(browser, owner):
    draft = make.draft(owner)
    old = {"version": draft.version}
    send(browser, f"/invoices/{draft.pk}/issue/", old)
    draft.refresh_from_db()
    answer = send(browser, f"/invoices/{draft.pk}/issue/", old)
    assert answer["Location"] == f"/invoices/{draft.pk}/"
    assert f"{draft.number} is issued and stays as it is" in words(browser.get(answer["Location"]))


def test_a_deposit_asks_for_no_day_of_work_and_leaves_nothing_out(browser, owner):
    card, *_ = quote.job(owner)
    quote.agreed(owner, card)
    draft = actions.draft_deposit(by=owner, card_id=card.pk, percent=D(30))
    shown = words(browser.get(f"/invoices/{draft.pk}/"))
    assert "Work done on" not in shown
    assert "Not on this invoice" not in shown
    with pytest.raises(BadInput, match="before the work"):
        actions.issue_invoice(draft.pk, None, by=owner, supplied_on=clock.today())
    assert send(browser, f"/invoices/{draft.pk}/issue/", {"version": draft.version}).status_code == 303


@pytest.mark.parametrize(("kind", "unit"), [("labour", "HUR"), ("part", "C62"), ("storage", "DAY"), ("sundry", "LS")])
def test_a_line_by_hand_counts_by_its_kind(browser, owner, kind, unit):
    quote.shop(owner)
    send(browser, f"/customers/{quote.customer().pk}/sale/")
    row = Invoice.objects.get()
    given = {"kind": kind, "text": "By hand", "quantity": "3", "unit_price": "33.335", "version": row.version}
    assert send(browser, f"/invoices/{row.pk}/lines/", given).status_code == 303
    assert row.lines.get().unit == unit


def test_an_address_of_a_form_opened_by_itself_says_what_to_do(browser, owner):
    answer = browser.get(f"/invoices/{make.draft(owner).pk}/issue/")
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "Nothing was changed. Go back" in words(answer)


def test_what_was_paid_and_then_credited_whole_says_so(browser, owner):
    invoice = make.sale(owner)
    payment = make.pay(owner, invoice, "123")
    page = f"/invoices/{invoice.pk}/"
    assert "Credit it" in words(browser.get(page))
    note = actions.credit_note(invoice.pk, by=owner, reason="Wrong engine")
    said = words(browser.get(page))
    assert "Credited" in said
    assert "Credit it" not in said
    assert "Stands to their credit €123.00" in words(browser.get(f"/invoices/{note.pk}/"))
    actions.refund(by=owner, customer_id=invoice.customer_id, amount=D(70), method="cash", paid_on=clock.today())
    assert "Stands to their credit €53.00" in words(browser.get(f"/invoices/{note.pk}/"))
    assert not payment.allocations.filter(amount__lt=0).exists()


def test_no_more_of_a_payment_is_offered_than_is_free(browser, owner):
    invoice = make.sale(owner)
    make.pay(owner, invoice, "305.10", "123")
    actions.refund(by=owner, customer_id=invoice.customer_id, amount=D(70), method="cash", paid_on=clock.today())
    make.sale(owner, invoice.customer)
    said = words(browser.get(f"/customers/{invoice.customer_id}/account/"))
    assert "Set against invoices €112.10" in said
    assert "Set against invoices €182.10" not in said


def test_a_share_below_zero_names_its_invoice(browser, owner):
    invoice = make.sale(owner)
    given = {"amount": "10", "method": "cash", "received_on": clock.today().isoformat(), f"invoice_{invoice.pk}": "-5"}
    told = send(browser, f"/customers/{invoice.customer_id}/pay/", given)
    assert told.status_code == 422
    assert f"{invoice.number}: Give an amount above zero." in words(told)


def test_two_sums_of_vat_at_no_percent_are_told_apart(browser, owner):
    quote.shop(owner)
    row = actions.draft_invoice(by=owner, customer_id=quote.customer().pk)
    for code, price in (("AE", "100"), ("E", "30")):
        actions.add_line(row.pk, None, by=owner, text="Engine", unit_price=D(price), tax_code=code)
    said = words(browser.get(f"/invoices/{row.pk}/"))
    assert "VAT 0 %, reverse charge €0.00" in said
    assert "VAT 0 %, exempt €0.00" in said
    assert "0 % of €100.00" in said
    assert "0 % of €30.00" in said
