"""A payment that took the discount for paying early is reversed: the invoice is owed whole again, by a document with a number."""

import uuid
from datetime import date
from decimal import Decimal as D

import pytest
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.accounts import queries as accounts
from jobs.books import actions as books
from jobs.books import gathering
from jobs.invoices import actions, checking, einvoice, printing, queries
from jobs.invoices.models import Allocation, Invoice, Payment
from shop.business import actions as business
from shop.kernel import clock
from shop.kernel.errors import Refused
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments
from tests.factories.books import NOVEMBER, OCTOBER

from .test_invoices_pages import words
from .test_terms import fresh, pay, two_rates

pytestmark = pytest.mark.django_db


@pytest.fixture
def offered(owner):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=D("2.5"), early_days=10)


def reverse(owner, payment: Payment) -> Invoice | None:
    actions.reverse_payment(payment.pk, by=owner, reason="Bounced")
    return Invoice.objects.filter(kind="debit").order_by("-id").first()


def ledger() -> dict[tuple[str, str], D]:
    found: dict[tuple[str, str], D] = {}
    for entry in gathering.entries(date(2026, 1, 1), date(2100, 1, 1)):
        assert sum(x.amount for x in entry.lines) == 0, entry
        for x in entry.lines:
            found[x.purpose, x.tax] = found.get((x.purpose, x.tax), D(0)) + x.amount
    return {k: v for k, v in found.items() if v}


def test_it_is_owed_whole_again(owner, offered):
    invoice = two_rates(owner)  # 350.00
    before = ledger()
    payment = pay(owner, invoice, "341.25")
    note = Invoice.objects.get(kind="credit")
    debit = reverse(owner, payment)
    assert debit is not None
    assert (debit.number[:3], debit.counters, debit.total_gross + debit.rounding) == ("DBN", note, D("8.75"))
    assert [(g["percent"], g["base"], g["tax"]) for g in debit.tax_groups] == [
        (g["percent"], g["base"], g["tax"]) for g in note.tax_groups
    ]
    assert queries.outstanding(fresh(invoice)) == 350
    assert fresh(invoice).settled_at is None
    assert [queries.outstanding(fresh(x)) for x in (note, debit)] == [0, 0]
    assert queries.free_credit(invoice.customer_id) == 0
    assert ledger() == before
    account = accounts.statement(invoice.customer_id, clock.today(), clock.today())
    assert account is not None
    assert [(e.what, e.amount) for e, _ in account.entries] == [
        ("invoice", D(350)), ("credit", D("-8.75")), ("debit", D("8.75")), ("payment", D("-341.25")), ("reversal", D("341.25")),
    ]  # fmt: skip
    assert account.closing == 350
    (aged,) = accounts.ages(invoice.customer_id)
    assert (aged.owed, aged.credit, aged.bands[0]) == (350, 0, 350)
    assert list(checking.wrong()) == []


def test_a_note_is_named_by_one_amount_everywhere(owner, offered):
    """Its cent of rounding is in it: 2.87 with VAT, 2.86 credited."""
    client = Client()
    client.force_login(owner)
    invoice = make.sale(owner, price="93")  # 114.39
    pay(owner, invoice, "111.53")
    note = Invoice.objects.get(kind="credit")
    assert (note.total_gross, note.rounding) == (D("2.87"), D("-0.01"))
    assert "€2.87" in words(client.get(f"/invoices/{note.pk}/"))
    for path in (f"/invoices/{invoice.pk}/", f"/customers/{invoice.customer_id}/account/", "/invoices/"):
        told = words(client.get(path))
        assert "2.86" in told
        assert "2.87" not in told


def test_the_discount_can_be_earned_again_and_lost_again(owner, offered):
    invoice = two_rates(owner)
    for _ in range(3):
        payment = pay(owner, invoice, "341.25")
        assert queries.outstanding(fresh(invoice)) == 0
        reverse(owner, payment)
        assert queries.outstanding(fresh(invoice)) == 350
    assert Invoice.objects.filter(kind="debit").count() == 3
    pay(owner, invoice, "350", early=False)
    actions.credit_note(invoice.pk, by=owner, reason="All of it")
    assert queries.free_credit(invoice.customer_id) == 350
    assert list(checking.wrong()) == []


def test_the_first_of_two_payments_bounces(owner, offered):
    """The discount is for all of it in time, so it is lost with any part."""
    invoice = two_rates(owner)
    first = pay(owner, invoice, "100", early=False)
    pay(owner, invoice, "241.25")
    assert reverse(owner, first) is not None
    assert queries.outstanding(fresh(invoice)) == D("108.75")
    assert list(checking.wrong()) == []


def test_what_was_credited_with_its_discount_is_not_charged(owner, offered):
    invoice = two_rates(owner)
    payment = pay(owner, invoice, "341.25")
    half = actions.credit_note(
        invoice.pk, by=owner, reason="Half of the first", quantities={invoice.lines.first().pk: D("0.5")}
    )
    assert half.total_net == D("48.75")  # 50 less 1.25
    debit = reverse(owner, payment)
    assert debit is not None
    assert {(g["percent"], D(g["base"])) for g in debit.tax_groups} == {("23", D("1.25")), ("13.5", D(5))}
    actions.credit_note(invoice.pk, by=owner, reason="The rest")
    notes, debits = Invoice.objects.filter(kind="credit"), Invoice.objects.filter(kind="debit")
    for name in ("total_net", "total_tax"):
        assert sum(getattr(n, name) for n in notes) - sum(getattr(d, name) for d in debits) == getattr(invoice, name)
    balance = queries.balance(invoice.customer_id)
    assert balance.balance == 0
    assert list(checking.wrong()) == []


def test_credited_whole_there_is_nothing_to_charge(owner, offered):
    invoice = two_rates(owner)
    payment = pay(owner, invoice, "341.25")
    actions.credit_note(invoice.pk, by=owner, reason="All of it")
    assert reverse(owner, payment) is None
    assert queries.balance(invoice.customer_id).balance == 0
    assert list(checking.wrong()) == []


def test_again_it_is_refused_and_nothing_is_written(owner, offered):
    payment = pay(owner, two_rates(owner), "341.25")
    debit = reverse(owner, payment)
    assert debit is not None
    with pytest.raises(Refused, match="reversed already"):
        reverse(owner, payment)
    with pytest.raises(Refused, match="Credit the invoice"):
        actions.credit_note(debit.pk, by=owner, reason="Kindness")
    assert Invoice.objects.filter(kind="debit").count() == 1
    assert Allocation.objects.filter(credit_note__isnull=False).count() == 3


def test_a_closed_month_stays_as_it_was(owner, offered):
    with clock.at(OCTOBER):
        invoice = two_rates(owner)
        payment = pay(owner, invoice, "341.25")
    october = (date(2026, 10, 1), date(2026, 11, 1))
    before = list(gathering.entries(*october))
    with clock.at(NOVEMBER):
        books.close_month(by=owner, month=date(2026, 10, 1))
        debit = reverse(owner, payment)
        assert debit is not None
        assert debit.issued_on == NOVEMBER.date()
        assert list(gathering.entries(*october)) == before
        aged = accounts.ages(invoice.customer_id)[0]
        assert aged.owed == 350


def test_on_paper_electronic_page_and_api(owner, api, offered):
    invoice = two_rates(owner)
    payment = pay(owner, invoice, "341.25")
    browser = Client()
    browser.force_login(owner)
    url = f"/payments/{payment.pk}/reverse/"
    form = {"once": str(uuid.uuid4()), "reason": "Bounced"}
    for _ in range(2):  # pressed twice
        assert browser.post(url, form).status_code == 303
    debit = Invoice.objects.get(kind="debit")
    note = debit.counters
    assert note is not None
    assert f"charged again: {debit.number}" in words(browser.get(f"/customers/{invoice.customer_id}/account/"))
    assert f"Charges again what was given by {note.number}" in words(browser.get(f"/invoices/{debit.pk}/"))
    assert f"Charged again by {debit.number}" in words(browser.get(f"/invoices/{note.pk}/"))
    paper = reading.text(printing.pdf(fresh(debit)))
    assert "Debit note" in paper
    assert f"credit note {note.number} settles it" in " ".join(paper.split())
    stated = einvoice.terms(debit, list(debit.lines.all()))
    assert (stated["BT-3"], stated["BT-113"], stated["BT-115"]) == ("383", "8.75", "0.00")
    assert [x["BT-25"] for x in stated["BG-3"]] == [invoice.number, note.number]
    client = api(owner)
    (listed,) = client.get("invoices/", kind="debit").json()["items"]
    assert (listed["counters_id"], listed["state"], listed["outstanding"]) == (note.pk, "charged-again", "0.00")


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    prices=st.lists(st.decimals("0.05", "9999.99", places=2), min_size=1, max_size=5),
    codes=st.lists(st.sampled_from(["S23", "S13"]), min_size=5, max_size=5),
    percent=st.decimals("0.1", "30", places=1),
)
def test_reversing_brings_it_back_to_what_it_was(owner, prices, codes, percent):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=percent, early_days=10)
    row = actions.draft_invoice(by=owner, customer_id=quote.customer().pk)
    for price, code in zip(prices, codes, strict=False):
        actions.add_line(row.pk, None, by=owner, text="Exchange engine", unit_price=price, tax_code=code)
    invoice = actions.issue_invoice(row.pk, None, by=owner)
    due = invoice.total_gross + invoice.rounding
    before = ledger()
    off = printing.early_discount(due, percent, "EUR")
    if not off or off >= due:
        return
    payment = pay(owner, invoice, str(due - off))
    with clock.at(moments.away(3)):
        reverse(owner, payment)
        balance = queries.balance(invoice.customer_id)
        assert list(checking.wrong()) == []
    assert (balance.owed, balance.credit) == (due, 0)
    assert ledger() == before
