"""manage.py check_invoices finds what no longer holds."""

from decimal import Decimal as D
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection

from jobs.invoices import actions, checking
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments

pytestmark = pytest.mark.django_db

TABLES = {"invoice": "jobs_invoices_invoice", "line": "jobs_invoices_invoiceline", "share": "jobs_invoices_allocation"}


@pytest.fixture
def books(owner):
    customer = quote.customer()
    invoice = make.sale(owner, customer, "0.335", quantity=D(3), unit="C62", kind="part")
    actions.credit_note(invoice.pk, by=owner, reason="One back", quantities={invoice.lines.get().pk: D(1)})
    paid = make.sale(owner, customer, "100", discount_percent=D("12.5"), discount_reason="Old customer")
    make.pay(owner, paid, "200", "107.63")
    make.sale(owner, customer, "10", tax_code="S13")
    return invoice, paid


def past_the_triggers(sql: str) -> None:
    """As somebody with the database's own rights could."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = replica")
            cursor.execute(sql)
            cursor.execute("SET session_replication_role = DEFAULT")
            return
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
        cursor.execute(sql)
        for _, made in triggers:
            cursor.execute(made)


def test_all_is_right(books):
    assert list(checking.wrong()) == []
    said = StringIO()
    call_command("check_invoices", stdout=said)
    assert "4 documents" in said.getvalue()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("UPDATE {invoice} SET total_gross = total_gross + 1 WHERE id = {paid}", "its total is stated as"),
        ("UPDATE {invoice} SET sum_net = sum_net + 1 WHERE id = {paid}", "the sum of its lines is stated as"),
        ("UPDATE {line} SET net = net + 1 WHERE invoice_id = {paid}", "which isn't quantity x price - discount"),
        ("UPDATE {invoice} SET settled_at = NULL WHERE id = {paid}", "noted as not settled"),
        ("UPDATE {share} SET amount = 300 WHERE invoice_id = {paid}", "more is allocated to it than is due"),
        ("UPDATE {share} SET amount = 300 WHERE invoice_id = {paid}", "of 200.0000 is allocated to 300.0000"),
        ("UPDATE {invoice} SET number = '{gap}' WHERE id = {paid}", "is missing"),
        ("UPDATE {invoice} SET rounding = 5 WHERE credits_id = {first}", "more than it charged"),
    ],
)
def test_what_was_tampered_with_is_found(books, change, says):
    first, paid = books
    gap = moments.numbered("INV", 9)
    past_the_triggers(change.format(**TABLES, first=first.pk, paid=paid.pk, gap=gap))
    assert any(says in wrong for wrong in checking.wrong()), list(checking.wrong())
    with pytest.raises(SystemExit):
        call_command("check_invoices", stderr=StringIO())
