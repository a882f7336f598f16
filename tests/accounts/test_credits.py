"""What stands to a customer's credit is kept beside the money it follows from, and shown also where nothing is owed."""

from decimal import Decimal as D

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.accounts import queries
from jobs.invoices import actions, checking
from jobs.invoices import queries as invoices
from jobs.invoices.models import Invoice, Payment, StandingCredit
from shop.kernel import clock
from shop.kernel.errors import DomainError
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments
from tests.invoices.test_invoices_pages import words

pytestmark = pytest.mark.django_db


def overpay(owner, customer=None, more: str = "27") -> Payment:
    invoice = make.sale(owner, customer)  # 123.00
    return make.pay(owner, invoice, str(D(123) + D(more)), "123")


def test_a_customer_with_credit_only_stands_on_page_csv_and_api(owner, api, client):
    paid = overpay(owner)
    client.force_login(owner)
    page = words(client.get("/accounts/"))
    assert f"{paid.customer.name} €27.00" in page
    line = client.get("/accounts/ages.csv").content.decode("utf-8-sig").splitlines()[1]
    assert line.startswith(f"{paid.customer.name},0,0,0,0,0,0,27.0000,-27.0000,EUR")
    (mine,) = api(owner).get("aged-balances/now/").json()["items"]
    assert (mine["owed"], mine["credit"], mine["balance"]) == ("0.00", "27.00", "-27.00")
    actions.refund(by=owner, customer_id=paid.customer_id, amount=D(27), method="transfer", paid_on=clock.today())
    assert queries.ages() == []
    assert "nothing stands to anybody's credit" in words(client.get("/accounts/"))


def test_the_cost_does_not_grow_with_what_was(owner):
    """Two statements that read open invoices and customers with a credit, whatever was paid and credited before."""

    def look() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as told:
            found = queries.ages()
        rows = sum(len(connection.cursor().execute(q["sql"]).fetchall()) for q in told.captured_queries)
        return len(told), rows - len(found)

    paid = overpay(owner)
    few = look()
    for _ in range(5):
        invoice = make.sale(owner, paid.customer)
        make.pay(owner, invoice, "123")
        actions.credit_note(make.sale(owner, paid.customer).pk, by=owner, reason="Came back")
    assert look() == few == (2, 0)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.sampled_from(["pay", "set", "reverse", "refund", "credit"]), st.integers(1, 200)), max_size=10
    )
)
def test_it_is_what_the_money_comes_to_after_any_deeds(owner, deeds):
    customer = quote.customer()
    make.sale(owner, customer, "80")

    def done(what: str, n: int) -> None:
        paid = list(Payment.objects.filter(customer=customer).order_by("id"))
        sold = list(Invoice.objects.filter(customer=customer, kind="invoice").order_by("id"))
        pick = sold[n % len(sold)]
        if what == "pay":
            make.pay(owner, make.sale(owner, customer, str(n)), str(2 * n), str(min(n, 50)))
        elif what == "set" and paid:
            actions.allocate(by=owner, payment_id=paid[n % len(paid)].pk, allocations={pick.pk: D(min(n, 7))})
        elif what == "reverse" and paid:
            actions.reverse_payment(paid[n % len(paid)].pk, by=owner, reason="Bounced")
        elif what == "refund":
            actions.refund(by=owner, customer_id=customer.pk, amount=D(n), method="cash", paid_on=clock.today())
        elif what == "credit":
            actions.credit_note(pick.pk, by=owner, reason="Came back")

    for deed in deeds:
        try:
            done(*deed)
        except DomainError:
            continue
        kept = StandingCredit.objects.filter(customer=customer).first()
        assert (kept.amount if kept else 0) == invoices.free_credit(customer.pk)
    assert list(checking.wrong()) == []


def test_the_check_finds_a_credit_that_is_not_so(owner):
    paid = overpay(owner)
    StandingCredit.objects.update(amount=D(20))
    assert list(checking.wrong()) == [
        f"Customer {paid.customer_id}: 20.0000 is noted as their credit; payments and credit notes come to 27.0000."
    ]
    StandingCredit.objects.all().delete()
    assert len(list(checking.wrong())) == 1
    with pytest.raises(DatabaseError), transaction.atomic():
        StandingCredit.objects.create(customer=paid.customer, amount=0)


def test_a_debtor_stands_before_a_creditor(owner):
    overpay(owner)
    with clock.at(moments.away(-50)):
        debt = make.sale(owner, quote.customer(name="Reed Ferry"))
    assert next(a.customer.pk for a in queries.ages()) == debt.customer_id
