"""A worked month: the journal says what the other rooms say."""

from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock import worth
from inventory.stock.models import Lot, Movement
from jobs.books import actions as books
from jobs.books import gathering, journal, progress, queries
from jobs.books.models import Gate
from jobs.cards.models import JobCard
from jobs.invoices import actions
from jobs.invoices import queries as invoices
from jobs.invoices.models import Invoice
from jobs.machines.models import Customer
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db
ALL = (date(2026, 1, 1), date(2026, 12, 31))


def balances(since=ALL[0], until=ALL[1]):
    found = defaultdict(D)
    for x in queries.totals(since, until)[0]:
        found[x.purpose] += x.balance
    return found


def test_the_journal_over_a_worked_month_is_what_the_other_rooms_say(owner):
    with clock.at(make.NOVEMBER):
        make.month(owner, make.OCTOBER)
        found = balances()
        assert sum(found.values()) == 0
        assert found["stock"] == sum(w.value for w in worth.at(clock.now()).values()) > 0
        account = [invoices.balance(c.pk) for c in Customer.objects.all()]
        assert found["receivables"] == sum(b.owed for b in account)
        assert -found["customer-credit"] == sum(b.credit for b in account) > 0
        report = progress.report(clock.today(), "EUR")
        # two ring sets of the job that goes on, at what they turned out to cost
        assert found["work-in-progress"] == report.parts == D("80.20")
        assert found["cost-of-sales"] == 2 * D("43.5")
        assert found["cancelled-work"] == D("40.1")
        sold = Invoice.objects.filter(kind="invoice")
        credited = Invoice.objects.filter(kind="credit")
        assert -found["sales"] == sum(x.total_net for x in sold) - sum(x.total_net for x in credited) > 0
        assert -found["vat"] == sum(x.total_tax for x in sold) - sum(x.total_tax for x in credited) > 0
        assert found["bank"] == sold.first().total_gross + sold.first().rounding + 50
        assert found["cash"] == -10
        assert (-found["payables"], found["input-vat"]) == (D("154.98"), D("28.98"))
        assert found["scrap"] == D("40.1")


def test_a_late_difference_of_cost_follows_what_was_used(owner):
    """The ring sets came in at 40, were used and invoiced, then turned out to cost 43.50: the difference is a cost of sales,
    never work in progress."""
    with clock.at(make.NOVEMBER):
        make.month(owner)
        late = Movement.objects.filter(kind="revalue", reverses__isnull=False, lot=Lot.objects.first()).get()
        lines = next(e for e in gathering.entries(*ALL) if e.document == f"M-{late.pk}").lines
    assert {(x.purpose, x.amount) for x in lines} == {("stock", D(-7)), ("cost-of-sales", D(7))}


def test_an_invoice_moves_its_cards_parts_to_cost_of_sales(owner):
    with clock.at(make.NOVEMBER):
        make.month(owner)
        card = JobCard.objects.exclude(invoiced_at=None).get()
        told = [e for e in gathering.entries(*ALL) if e.subject == ("card", card.pk)]
    assert [(x.purpose, x.amount) for x in told[0].lines] == [("cost-of-sales", D(80)), ("work-in-progress", D(-80))]
    assert (len(told), told[0].on, told[0].document) == (1, date(2026, 10, 13), card.number)


def test_what_a_payment_settles_with_it_is_dated_with_it(owner):
    """Received on the last of the month and written down in the next: receivables go down in the month it came in; what is
    set against an invoice later on goes by its own day."""
    with clock.at(make.OCTOBER):
        invoice = bills.sale(owner)
    with clock.at(make.NOVEMBER):
        paid = actions.record_payment(
            by=owner, customer_id=invoice.customer_id, amount=D(100), method="transfer", received_on=date(2026, 10, 31),
            allocations={invoice.pk: D(60)},
        )  # fmt: skip
    with clock.at(make.NOVEMBER + timedelta(minutes=1)):
        actions.allocate(by=owner, payment_id=paid.pk, allocations={invoice.pk: D(40)})
        october, november = date(2026, 10, 1), date(2026, 11, 1)
        first, second = balances(october, november), balances(november, date(2026, 12, 1))
        assert (first["bank"], first["receivables"], first["customer-credit"]) == (100, 63, -40)
        assert {k: v for k, v in second.items() if v} == {"receivables": -40, "customer-credit": 40}
        actions.reverse_payment(paid.pk, by=owner, reason="Bounced")
        all_ = balances()
        assert (all_["bank"], all_["receivables"], all_["customer-credit"]) == (0, 123, 0)


def test_pages_hold_every_entry_once_in_the_order_of_days(owner):
    with clock.at(make.NOVEMBER):
        make.month(owner)
        whole = list(gathering.entries(*ALL))
        for size in (1, 2, 7):
            paged, cursor = [], None
            while True:
                page = gathering.page(*ALL, limit=size, cursor=cursor)
                paged += page.items
                cursor = page.next
                if cursor is None:
                    break
            assert paged == whole
    assert [e.on for e in whole] == sorted(e.on for e in whole)
    assert len(whole) > 20
    assert all(sum(x.amount for x in e.lines) == 0 for e in whole)
    assert {e.subject[0] for e in whole} == {"invoice", "payment", "lot", "card", "bill"}


def test_a_page_asks_as_often_for_twice_the_rows(owner):
    with clock.at(make.NOVEMBER):
        make.month(owner)
        asked = []
        for _ in range(2):
            with CaptureQueriesContext(connection) as told:
                found = gathering.page(*ALL, limit=200)
            asked.append((len(told), len(found.items)))
            with clock.at(make.OCTOBER + timedelta(days=7)):
                for _n in range(3):
                    bills.pay(owner, bills.sale(owner), "20", "5")
    assert asked[0][0] == asked[1][0]
    assert asked[1][1] > asked[0][1]


def test_every_source_goes_by_an_index(owner):
    """The rows of a month are found by their day, not by reading all of ten years."""
    postgres = connection.vendor == "postgresql"
    if postgres:  # a planner that sees a small table reads it whole, where it may
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
            cursor.execute("SET LOCAL enable_sort = off")
    for source in gathering.SOURCES:
        rows = source.rows().filter(**{f"{source.field}__gte": ALL[0] if source.dated else gathering.begins(ALL[0])})
        plan = rows.order_by(source.field, "id")[:50].explain()
        table = rows.model._meta.db_table
        found = f" on {table}" if postgres else f"SEARCH {table} USING INDEX"
        assert found in plan, (source.field, plan)
        assert f"Seq Scan on {table}" not in plan, (source.field, plan)
        assert "TEMP B-TREE FOR ORDER BY" not in plan, (source.field, plan)
        if postgres:
            assert "Index" in plan.split(found)[0].splitlines()[-1], (source.field, plan)


def test_work_in_progress_at_a_past_day(owner):
    """Before its invoice the job stands there with its parts and hours, afterwards not."""
    with clock.at(make.NOVEMBER):
        invoice = make.month(owner)
        before = progress.report(date(2026, 10, 12), "EUR")
        after = progress.report(date(2026, 10, 13), "EUR")
    (line,) = before.lines
    assert line.card.pk == invoice.card_id
    assert (line.parts, line.hours, line.labour) == (D(80), D("5.25"), D("126.00"))  # 24.00 an hour
    assert after.lines == []


def test_labour_of_two_people_is_rounded_once(owner, mechanic):
    with clock.at(make.OCTOBER):
        _card, stage = make.job(owner)
        mechanic.cost_per_hour = None
        mechanic.save()
        owner.cost_per_hour = D("31.1111")
        owner.save()
        bills.work(owner, stage, "0.5")
        bills.work(owner, stage, "0.25", who=mechanic)
        (line,) = progress.report(clock.today(), "EUR").lines
    assert (line.hours, line.labour, line.unpriced) == (D("0.75"), D("15.56"), D("0.25"))


def test_check_books_finds_what_was_changed_behind_its_back(owner, capsys):
    with clock.at(make.NOVEMBER):
        make.month(owner)
        row = books.close_month(by=owner, month=date(2026, 10, 1))
        call_command("check_books")
        kept = {(x.purpose, x.tax): (x.debit, x.credit) for x in row.totals.all()}
        assert kept == {
            (x.purpose, x.tax): (x.debit, x.credit) for x in queries.totals(date(2026, 10, 1), date(2026, 11, 1))[0]
        }
        with clock.at(make.OCTOBER):  # as if it had not been refused
            bills.sale(owner)
        with pytest.raises(SystemExit):
            call_command("check_books")
        assert "2026-10 receivables EUR" in capsys.readouterr().err
        Gate.objects.update(open_from=None)
        assert next(queries.wrong()).startswith("Open from None")


def test_rounded_totals_put_what_is_left_on_rounding():
    total = journal.Total
    found = journal.rounded(
        [total("stock", "", "EUR", D("0.125"), D(0)), total("goods-received", "", "EUR", D(0), D("0.125"))]
    )
    assert [x.balance for x in found] == [D("0.13"), D("-0.13")]
    found = journal.rounded(
        [
            total("stock", "", "EUR", D("0.012"), D(0)), total("work-in-progress", "", "EUR", D("0.012"), D(0)),
            total("goods-received", "", "EUR", D(0), D("0.024")),
        ]
    )  # fmt: skip
    assert [(x.purpose, x.balance) for x in found] == [
        ("stock", D("0.01")), ("work-in-progress", D("0.01")), ("goods-received", D("-0.02")),
    ]  # fmt: skip


def test_a_deposit_is_no_sale_until_the_invoice_takes_it_off(owner):
    """Asked for and paid in October, taken off in November: sales are those of November and whole, VAT is owed when each
    document charges it; crediting all of it takes both back."""
    with clock.at(make.OCTOBER):
        card = bills.finished(owner)
        whole = actions.draft_invoice(by=owner, card_id=card.pk)
        net, tax = whole.total_net, whole.total_tax
        actions.discard_invoice(whole.pk, None, by=owner)
        asked = bills.deposit(owner, card, "30")
        bills.pay(owner, asked, str(asked.total_gross))
    with clock.at(make.NOVEMBER):
        final = bills.issued(owner, card)
        october, november = date(2026, 10, 1), date(2026, 11, 1)
        first, second = balances(october, november), balances(november, date(2026, 12, 1))
        assert (-first["deposits"], first["sales"], -first["vat"]) == (asked.total_net, 0, asked.total_tax)
        assert (second["deposits"], -second["sales"]) == (asked.total_net, net)
        all_ = balances()
        assert (all_["deposits"], -all_["sales"]) == (0, net)
        assert abs(-all_["vat"] - tax) <= D("0.01")
        assert all_["receivables"] == invoices.balance(final.customer_id).owed
        actions.credit_note(final.pk, by=owner, reason="Came back")
        all_ = balances()
        assert (-all_["deposits"], all_["sales"], -all_["vat"]) == (asked.total_net, 0, asked.total_tax)
        actions.credit_note(asked.pk, by=owner, reason="Came back")
        all_ = balances()
        assert {k: v for k, v in all_.items() if k in ("deposits", "sales", "vat", "receivables") and v} == {}
        assert -all_["customer-credit"] == asked.total_gross
