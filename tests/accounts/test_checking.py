"""manage.py check_invoices also computes letters and statements again."""

from datetime import timedelta
from decimal import Decimal as D
from io import StringIO

import pytest
from django.core.management import call_command

from jobs.accounts import actions, checking
from jobs.accounts import queries as accounts
from jobs.invoices import actions as invoices
from shop.business import actions as business
from shop.kernel import clock
from tests.factories import accounts as late
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments
from tests.invoices.test_checking import past_the_triggers

pytestmark = pytest.mark.django_db


@pytest.fixture
def letter(owner):
    """About two invoices, one paid in part before and in full after; interest from the first letter on."""
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, interest_percent=D("9.5"), interest_from=1, remind_fee_1=D(5))
    customer = quote.customer()
    first = late.overdue(owner, customer, days=20)
    late.overdue(owner, customer, days=33, price="250")
    with clock.at(clock.now() - timedelta(hours=1)):
        make.pay(owner, first, "23")
    row = actions.send_reminder(by=owner, customer_id=customer.pk)
    with clock.at(moments.away(2)):
        make.pay(owner, first, "100")
    assert row.interest > 0
    assert row.fee == 5
    return row


def test_all_is_right(owner, letter):
    paid = make.pay(owner, make.sale(owner, letter.customer), "150", "123")
    invoices.reverse_payment(paid.pk, by=owner, reason="Bounced")
    out = StringIO()
    with clock.at(moments.away(3)):
        assert list(checking.wrong()) == []
        call_command("check_invoices", stdout=out)
    assert "The invoices are right" in out.getvalue()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE jobs_accounts_reminder SET open_total = open_total + 1", "what is open is stated as"),
        ("UPDATE jobs_accounts_reminder SET interest = interest + 1", "its interest is stated as"),
        ("UPDATE jobs_accounts_reminder SET level = 3", "its level is stated as 3 and comes to 1"),
        ("UPDATE jobs_accounts_reminder SET fee = -1", "below nothing"),
        ("UPDATE jobs_accounts_reminderline SET days_late = days_late + 1", "days late are stated"),
        ("UPDATE jobs_accounts_reminderline SET interest = interest + 1", "interest is stated as"),
        ("UPDATE jobs_accounts_reminderline SET open = open + 1", "is stated as open"),
        ("UPDATE jobs_invoices_allocation SET amount = amount + 1 WHERE amount = 100", "open invoices less credit come to"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(owner, letter, change, said, capsys):
    past_the_triggers(change)
    with clock.at(moments.away(3)):
        assert any(said in x for x in checking.wrong()), list(checking.wrong())
        with pytest.raises(SystemExit) as ended:
            call_command("check_invoices", stdout=StringIO())
    assert ended.value.code == 1
    assert said in capsys.readouterr().err


def test_two_halves_of_a_statement_that_do_not_meet(owner, letter, monkeypatch):
    real = accounts.statement

    def lies(customer, since, until):
        found = real(customer, since, until)
        return found if since == checking.FIRST else type(found)(**vars(found) | {"opening": found.opening + 1})

    monkeypatch.setattr(accounts, "statement", lies)
    with clock.at(moments.away(3)):
        (told,) = checking.wrong()
    assert f"The statement of {letter.customer.name} from" in told
