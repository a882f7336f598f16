"""Whatever is posted sums to zero, entry by entry and in the rounded totals."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from jobs.books import journal
from jobs.books.accounts import BY_KEY
from jobs.books.journal import Entry, Rate

MONEY = st.decimals(min_value=-(10**6), max_value=10**6, places=2)
VALUE = st.decimals(min_value=-(10**6), max_value=10**6, places=6)
RATES = st.lists(
    st.builds(Rate, st.sampled_from(["S 23", "S 13.5", "Z 0", "AE 0"]), MONEY, MONEY, MONEY.map(abs)), max_size=4
)
KINDS = st.sampled_from(["receipt", "sent-back", "draw", "return", "scrap", "count", "kit", "revalue"])
STANDS = st.sampled_from(["", "work-in-progress", "cost-of-sales", "cancelled-work"])
FACTS = st.one_of(
    st.builds(lambda r, x, d: journal.sale(r, x, deposit=d), RATES, MONEY, st.booleans()),
    st.builds(lambda r, x, s, d: journal.credited(r, x, s, deposit=d), RATES, MONEY, MONEY, st.booleans()),
    st.builds(journal.paid, MONEY, st.sampled_from(["transfer", "card", "cash", "other", "rounding"]), MONEY),
    st.builds(journal.set_against, MONEY),
    st.builds(journal.moved, KINDS, VALUE, STANDS, st.sampled_from(["", "draw", "scrap", "count", "kit"])),
    st.builds(journal.ended, VALUE, st.sampled_from(["cost-of-sales", "cancelled-work"])),
    st.builds(journal.billed, MONEY, MONEY),
    st.builds(journal.sent_out, MONEY, MONEY, STANDS.filter(bool)),
)


def entry(lines, currency="EUR"):
    return Entry(date(2026, 11, 25), "X", "x", currency, ("invoice", 1), lines)


@given(FACTS)
def test_the_postings_of_a_document_sum_to_zero(lines):
    assert sum((x.amount for x in lines), D(0)) == 0
    assert all(x.amount and x.debit - x.credit == x.amount and not (x.debit and x.credit) for x in lines)
    assert {x.purpose for x in lines} <= set(BY_KEY)


@given(st.lists(st.tuples(FACTS, st.sampled_from(["EUR", "JPY"])), max_size=12))
def test_totals_sum_to_zero_also_when_rounded(facts):
    found = journal.totals([entry(*fact) for fact in facts], tuple(BY_KEY))
    rounded = journal.rounded(found)
    for totals in (found, rounded):
        for currency in ("EUR", "JPY"):
            assert sum((x.balance for x in totals if x.currency == currency), D(0)) == 0
    exact = {(x.purpose, x.tax, x.currency): x for x in found}
    for x in rounded:
        places = D("0.01") if x.currency == "EUR" else D(1)
        assert x.debit == x.debit.quantize(places)
        assert x.credit == x.credit.quantize(places)
        if x.purpose != "rounding":
            own = exact[x.purpose, x.tax, x.currency]
            assert abs(x.debit - own.debit) <= places / 2
            assert abs(x.credit - own.credit) <= places / 2
