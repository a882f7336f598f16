"""Interest of a letter: on what was open each day, at the percentage of that day."""

from datetime import UTC, date, datetime
from decimal import Decimal as D
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from jobs.accounts import actions, checking, printing
from jobs.invoices import actions as invoices
from shop.business import actions as business
from shop.business import queries as terms
from shop.business.models import InterestRate
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.invoices.test_checking import past_the_triggers

pytestmark = pytest.mark.django_db
SENT = date(2026, 7, 2)


def on(month: int, day: int, year: int = 2026):
    return clock.at(datetime(year, month, day, 10, tzinfo=UTC))


@pytest.fixture(params=["en"])
def customer(owner, request):
    with on(11, 1, 2025):
        quote.shop(owner)
        business.edit_money_terms(None, by=owner, interest_percent=D(8), interest_from=1)
        return quote.customer(language=request.param)


@pytest.fixture
def owed(owner, customer):
    """10,000.00, due on 31 December 2025."""
    with on(12, 1, 2025):
        found = make.sale(owner, customer, "8130.081301")
        assert (found.payable, found.due_on) == (D(10000), date(2025, 12, 31))
        return found


def letter(owner, customer):
    with on(7, 2):
        row = actions.send_reminder(by=owner, customer_id=customer.pk)
        assert list(checking.wrong()) == []
        return row


@pytest.mark.parametrize(("customer", "said"), [
    ("en", "10,000.00 for 181 days at 8% a year, 100.00 for 2 days at 8% a year"),
    ("de", "10.000,00 für 181 Tage zu 8 % im Jahr, 100,00 für 2 Tage zu 8 % im Jahr"),
], indirect=["customer"])  # fmt: skip
def test_what_was_paid_meanwhile_bore_interest_until_then(owner, customer, owed, said):
    with on(6, 30):
        make.pay(owner, owed, "9900")
    row = letter(owner, customer)
    assert (row.open_total, row.interest, row.interest_percent) == (D(100), D("396.76"), D(8))
    paper = " ".join(reading.text(printing.letter(row)).replace("\u00a0", " ").replace("\u202f", " ").split())
    assert said in paper


def test_a_payment_written_later_counts_on_its_own_day_and_its_reversal_on_that(owner, customer, owed):
    """10000 x 8 % x (10 + 153) / 365: not for the 20 days on which the money seemed to be here."""
    with on(1, 12):
        paid = invoices.record_payment(
            by=owner, customer_id=customer.pk, amount=D(10000), method="transfer", received_on=date(2026, 1, 10),
            allocations={owed.pk: D(10000)},
        )  # fmt: skip
    with on(1, 30):
        invoices.reverse_payment(paid.pk, by=owner, reason="Bounced")
    assert letter(owner, customer).interest == D("357.26")


def test_money_that_was_here_bears_no_interest_however_late_it_was_set_against(owner, customer, owed):
    """9,900 on account on 10 January, set against the invoice on 1 July: 10,000 x 8 % x 10 / 365 + 100 x 8 % x 173 / 365."""
    with on(1, 10):
        paid = make.pay(owner, owed, "9900", "0")
    with on(7, 1):
        invoices.allocate(by=owner, payment_id=paid.pk, allocations={owed.pk: D(9900)})
    assert letter(owner, customer).interest == D("25.71")


def test_a_credit_counts_on_its_day(owner, customer, owed):
    with on(6, 30):
        invoices.credit_note(owed.pk, by=owner, reason="Half came back", quantities={owed.lines.get().pk: D("0.5")})
    # 10000 x 8 % x 181 / 365 + 5000 x 8 % x 2 / 365 = 396.7123 + 2.1918
    assert letter(owner, customer).interest == D("398.90")


def test_a_new_percentage_holds_from_its_day(owner, customer, owed):
    with on(7, 1):
        business.edit_money_terms(None, by=owner, interest_percent=D(10))
    row = letter(owner, customer)
    assert (row.interest, row.interest_percent) == (D("402.19"), D(10))
    assert "10,000.00 for 2 days at 10% a year" in " ".join(reading.text(printing.letter(row)).split())
    with on(8, 1):  # what was sent is counted with what was known then
        business.edit_money_terms(None, by=owner, interest_percent=D(12), interest_since=date(2026, 1, 1))
        assert list(checking.wrong()) == []


def test_a_percentage_of_a_day_to_come_does_not_hold_yet(owner, customer, owed):
    with on(7, 1):
        business.edit_money_terms(None, by=owner, interest_percent=D(10), interest_since=date(2026, 8, 1))
    row = letter(owner, customer)
    assert (row.interest, row.interest_percent) == (D("401.10"), D(8))


def test_the_day_over_the_api(owner, customer, owed, api):
    client = api(owner)
    with on(7, 2):
        tag = client.get("payment-terms/").headers["ETag"]
        body = {"interest_percent": "10", "interest_since": "2026-07-01"}
        done = client.patch("payment-terms/", body, etag=tag)
        assert done.status_code == 200, done.content
        assert [(x["percent"], x["since"]) for x in done.json()["interest_rates"]] == [
            ("10", "2026-07-01"),
            ("8", None),
        ]
        far = client.patch("payment-terms/", {"interest_since": "0206-07-01"}, etag=done.headers["ETag"])
        assert far.json()["errors"][0]["pointer"] == "/interest_since"
        made = client.post("reminders/", {"customer_id": customer.pk})
        assert made.json()["interest"] == "402.19"
        # other terms are no new percentage
        client.patch("payment-terms/", {"remind_days_1": 9}, etag=done.headers["ETag"])
    assert InterestRate.objects.count() == 2


def test_check_invoices_counts_the_days_itself(owner, customer, owed, capsys):
    with on(6, 30):
        make.pay(owner, owed, "9900")
    row = letter(owner, customer)
    for table in ("jobs_accounts_reminder", "jobs_accounts_reminderline"):
        past_the_triggers(f"UPDATE {table} SET interest = 4.01")
    with on(7, 3), pytest.raises(SystemExit):
        call_command("check_invoices", stdout=StringIO())
    assert f"{row.number}, {owed.number}: interest is stated as 4.01" in capsys.readouterr().err


def test_letters_of_before_percentages_had_a_day_are_checked_by_the_rule_of_then(owner, customer, owed):
    with on(6, 30):
        make.pay(owner, owed, "9900")
    row = letter(owner, customer)
    for table in ("jobs_accounts_reminder", "jobs_accounts_reminderline"):
        past_the_triggers(f"UPDATE {table} SET interest = 4.01")
    past_the_triggers("UPDATE shop_business_interestrate SET at = '2026-07-03 09:00:00+00:00'")
    with on(7, 4):
        assert list(checking.wrong()) == []
    row.refresh_from_db()
    assert "4.01" in reading.text(printing.letter(row))


def test_a_percentage_is_never_changed_afterwards(owner, customer):
    for statement in ("UPDATE shop_business_interestrate SET percent = 9", "DELETE FROM shop_business_interestrate"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    with pytest.raises(BadInput):
        business.edit_money_terms(None, by=owner, interest_since=date(1026, 1, 1))
    assert terms.interest_on(SENT) == D(8)
