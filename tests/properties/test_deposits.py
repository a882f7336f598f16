"""A final invoice and its deposits come to the whole exactly, whatever the lines, rates, discounts and deposits; and crediting
all of them comes to nothing."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.invoices import actions, checking, deposits, prepaid, queries
from jobs.invoices.models import Invoice
from shop.kernel.errors import Refused
from shop.kernel.totals import Vat, vat_on
from tests.factories import estimates as quote

from .test_money import ANY_MIX, LINES, places

pytestmark = pytest.mark.django_db

AMOUNTS = st.lists(places(3, 2).map(lambda a: a + D("0.01")), min_size=1, max_size=3)
PERCENTS = st.one_of(st.just(D(0)), places(1, 2))


def due(row: Invoice) -> D:
    return row.total_gross + row.rounding


@ANY_MIX
@given(lines=LINES, asked=AMOUNTS, percent=PERCENTS, back=st.booleans())
def test_deposits_and_final_come_to_the_whole(owner, lines, asked, percent, back):
    quote.shop(owner)
    customer = quote.customer()

    def draft() -> Invoice:
        row = actions.draft_invoice(by=owner, customer_id=customer.pk)
        for n, values in enumerate(lines):
            why = {"discount_reason": "Because"} if values["discount_percent"] else {}
            actions.add_line(row.pk, None, by=owner, text=f"Thing {n}", **values, **why)
        if percent:
            actions.edit_invoice(row.pk, None, by=owner, discount_percent=percent, discount_reason="Old customer")
        return Invoice.objects.get(pk=row.pk)

    whole = draft()
    charged = []
    for amount in asked:
        row = actions.draft_deposit(by=owner, customer_id=customer.pk, amount=amount)
        charged.append(actions.issue_invoice(row.pk, None, by=owner))
    final = draft()
    try:
        actions.take_off_deposits(final.pk, None, by=owner)
    except Refused:  # nothing at the deposit's rate
        assert all(
            Vat(x["category"], D(x["percent"])) != Vat("S", D(23)) or D(x["base"]) <= 0 for x in whole.tax_groups
        )
    final = actions.issue_invoice(final.pk, None, by=owner, override="Paid at the bank today")
    taken = [
        sum((n + t for n, t in rates.values()), D(0)) for rates in prepaid.taken_off([x.pk for x in charged]).values()
    ]
    assert due(final) + sum(taken) == whole.total_gross
    # what is asked for in all is the whole and what is left of the deposits, to the cent
    rest = prepaid.left(charged)
    assert due(final) + sum(due(x) for x in charged) == whole.total_gross + sum(x.net + x.tax for x in rest)
    # which is credited, as it is
    if back:
        for row in charged:
            own = sum(x.net + x.tax for x in rest if x.deposit == row.pk)
            assert not own or due(actions.credit_note(row.pk, by=owner, reason="Less work")) == own
        assert prepaid.left(charged) == []
        notes = Invoice.objects.filter(credits__in=charged)
        assert due(final) + sum(due(x) for x in charged) - sum(due(x) for x in notes) == whole.total_gross
        assert list(checking.wrong()) == []
    assert final.total_net - sum(x.net for x in final.lines.filter(deducts__isnull=False)) == whole.total_net
    assert all(
        D(g["base"]) >= 0 and D(g["tax"]) == vat_on(D(g["base"]), D(g["percent"]), "EUR") for g in final.tax_groups
    )
    assert due(final) >= 0
    # what the last taken deposit leaves is what it was less what was taken
    for row, off in zip(charged, taken, strict=True):
        assert off <= row.total_gross
    # all of it credited comes to nothing
    rows = [final, *charged]
    for row in rows:
        if any(q for q, _ in queries.creditable(row, row.lines.all()).values()):
            actions.credit_note(row.pk, by=owner, reason="All wrong")
    notes = Invoice.objects.filter(credits__in=rows)
    assert sum(due(n) for n in notes) == sum(due(r) for r in rows)
    assert sum(n.total_net for n in notes) == sum(r.total_net for r in rows)
    assert list(checking.wrong()) == []


@ANY_MIX
@given(parts=st.lists(places(2, 2).map(lambda a: a + D("0.01")), min_size=2, max_size=7), more=places(0, 2))
def test_deposits_over_all_of_it_come_to_the_whole(owner, parts, more):
    """The whole asked for in parts, and next to nothing besides: VAT rounded on each part is more or less than on the whole."""
    quote.shop(owner)
    customer = quote.customer()
    charged = []
    for amount in parts:
        row = actions.draft_deposit(by=owner, customer_id=customer.pk, amount=amount)
        charged.append(actions.issue_invoice(row.pk, None, by=owner))
    final = actions.draft_invoice(by=owner, customer_id=customer.pk)
    actions.add_line(final.pk, None, by=owner, text="Exchange engine", unit_price=sum(parts) + more)
    actions.take_off_deposits(final.pk, None, by=owner)
    final = actions.issue_invoice(final.pk, None, by=owner, override="Paid at the bank today")
    whole = sum(parts) + more + vat_on(sum(parts) + more, D(23), "EUR")
    rest = prepaid.left(charged)
    over = sum(due(x) for x in charged) + due(final) - whole
    assert due(final) >= 0
    assert over == sum(x.tax for x in rest) >= 0
    assert over == 0 or due(final) == 0
    notes = [actions.credit_note(x.deposit, by=owner, reason="VAT was rounded up") for x in rest]
    assert sum(due(x) for x in notes) == over
    assert prepaid.left(charged) == []
    assert list(checking.wrong()) == []


@given(places(6, 2).map(lambda a: a + D("0.01")), st.dictionaries(st.sampled_from("ABCD"), places(5, 2), min_size=1))
def test_a_deposit_is_shared_out_to_the_cent(amount, weights):
    if any(weights.values()):
        shares = deposits.by_rate(amount, weights, "EUR")
        assert sum(shares.values()) == amount
        assert all(v > 0 for v in shares.values())
