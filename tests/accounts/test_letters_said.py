"""What a letter says of an invoice is true of it: how often it was written about, and that something was paid."""

from decimal import Decimal as D

import pytest

from jobs.accounts import printing
from jobs.accounts.models import Reminder
from shop.business import actions as business
from shop.kernel import clock
from tests.documents import reading
from tests.factories import accounts as late
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments

pytestmark = pytest.mark.django_db


def later(days: int):
    return clock.at(moments.away(days))


def written(client, customer) -> Reminder:
    made = client.post("reminders/", {"customer_id": customer.pk})
    assert made.status_code == 201, made.content
    return Reminder.objects.get(pk=made.json()["id"])


def paper(row: Reminder) -> str:
    return reading.text(printing.letter(row)).replace("\u00ad", "")


@pytest.mark.parametrize(("language", "third", "first", "second"), [
    ("en", "still open after two reminders", "about which we had not written to you yet", "had written to you once"),
    ("de", "trotz zweier Schreiben noch offen", "noch nicht geschrieben hatten", "einmal geschrieben hatten"),
])  # fmt: skip
def test_an_invoice_of_a_lower_level_stands_apart(owner, api, language, third, first, second):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, interest_percent=D(8), interest_from=2, remind_fee_3=D(10))
    customer, client = quote.customer(language=language), api(owner)
    old = late.overdue(owner, customer, days=20)
    written(client, customer)
    with later(14):
        middle = late.overdue(owner, customer, days=9, price="200")
        both = written(client, customer)
        said = paper(both)
        assert first in said
        assert said.index(old.number) < said.index(first) < said.index(middle.number)
    with later(28):
        fresh = late.overdue(owner, customer, days=9, price="300")
        row = written(client, customer)
        assert {(x.invoice_id, x.level) for x in row.lines.all()} == {(old.pk, 3), (middle.pk, 2), (fresh.pk, 1)}
        said = paper(row)
        order = [said.index(x) for x in (third, old.number, second, middle.number, first, fresh.number)]
        assert order == sorted(order)
        form = f"{row.total:,.2f}"
        assert (form if language == "en" else form.translate(str.maketrans(",.", ".,"))) in said[order[-1] :]


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_letter_denies_a_payment(owner, api, language):
    quote.shop(owner)
    customer, client = quote.customer(language=language), api(owner)
    row = late.overdue(owner, customer, days=20)
    written(client, customer)
    make.pay(owner, row, "100")
    with later(14):
        second = paper(written(client, customer))
    with later(28):
        third = paper(written(client, customer))
    for said in (second, third):
        for claim in (
            "neither payment",
            "unpaid",
            "weder Zahlung",
            "unbezahlt",
            "noch nicht geschrieben",
            "not written",
        ):
            assert claim not in said
        assert ("100.00" if language == "en" else "100,00") in said
