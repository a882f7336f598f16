"""Who gets what is free and what is coming, by plain values."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from jobs.draws.allotting import Awaited, Said, Want, allot

SOON, LATER, LAST = date(2026, 12, 3), date(2026, 12, 9), date(2026, 12, 20)


def want(need, missing="1", promised=SOON, card=None, *, agreed=True):
    return Want(need, D(missing), promised, card or need, f"card 26-{card or need:04}", agreed)


def line(pk, quantity="1", due=SOON, label="", *, sent=True):
    return Awaited(pk, D(quantity), due, label, sent)


def shares(found):
    return {need: (its.free, dict(its.coming), its.short) for need, its in found.items()}


def test_the_soonest_promised_takes_the_shelf_the_next_one_what_comes():
    found = allot([want(1, "2", LATER), want(2, "2", SOON)], D(3), [line(7, "1")])
    assert shares(found) == {2: (2, {}, 0), 1: (1, {7: 1}, 0)}


def test_the_same_day_the_older_card_first_and_no_day_last():
    found = allot([want(1, promised=None), want(3), want(2)], D(2), [])
    assert {need: its.free for need, its in found.items()} == {2: 1, 3: 1, 1: 0}


def test_of_two_orders_the_sooner_goes_to_the_sooner_card():
    found = allot([want(1, "2", LATER), want(2, "2", SOON)], D(0), [line(7, "3", None), line(8, "2", LATER)])
    assert shares(found) == {2: (0, {8: 2}, 0), 1: (0, {7: 2}, 0)}


def test_what_was_said_stays_though_another_is_promised_sooner():
    found = allot([want(1, promised=LAST), want(2)], D(0), [line(7)], [Said(1, 7, D(1))])
    assert shares(found) == {2: (0, {}, 1), 1: (0, {7: 1}, 0)}


def test_what_was_said_gives_no_more_than_is_missing_or_comes():
    found = allot([want(1, "2"), want(2, "2", LATER)], D(0), [line(7, "3")], [Said(1, 7, D(9)), Said(2, 8, D(1))])
    assert shares(found) == {1: (0, {7: 2}, 0), 2: (0, {7: 1}, 1)}


def test_a_line_that_names_a_card_goes_to_it_first():
    found = allot([want(1), want(2, promised=LAST)], D(0), [line(7, "1", label="card 26-0002")])
    assert shares(found) == {1: (0, {}, 1), 2: (0, {7: 1}, 0)}


def test_a_draft_goes_only_to_whom_it_is_promised():
    found = allot([want(1), want(2)], D(0), [line(7, "2", None, sent=False)], [Said(2, 7, D(1))])
    assert shares(found) == {1: (0, {}, 1), 2: (0, {7: 1}, 0)}


def test_what_waits_for_the_go_ahead_comes_last():
    found = allot([want(1, agreed=False), want(2, promised=LAST)], D(1), [])
    assert {need: its.free for need, its in found.items()} == {2: 1, 1: 0}


quantities = st.decimals(0, 20, places=2)
days = st.one_of(st.none(), st.dates(date(2026, 11, 1), date(2027, 2, 1)))


@given(
    wants=st.lists(st.tuples(quantities, days, st.booleans()), max_size=8),
    free=quantities,
    lines=st.lists(st.tuples(quantities, days, st.integers(0, 8), st.booleans()), max_size=6),
    said=st.lists(st.tuples(st.integers(1, 8), st.integers(1, 6), quantities), max_size=8),
)
def test_nothing_is_given_twice_and_nobody_gets_more_than_is_missing(wants, free, lines, said):
    needs = [Want(n, q, d, n, f"card {n}", a) for n, (q, d, a) in enumerate(wants, start=1)]
    awaited = [Awaited(n, q, d, f"card {c}" if c else "", s) for n, (q, d, c, s) in enumerate(lines, start=1)]
    found = allot(needs, free, awaited, [Said(*each) for each in said])
    assert sum((its.free for its in found.values()), D(0)) <= free
    for each in awaited:
        assert sum((its.of(each.line_id) for its in found.values()), D(0)) <= each.quantity
    for need in needs:
        its = found[need.need_id]
        assert min(its.free, its.short, *(q for _, q in its.coming), D(0)) >= 0
        assert its.free + sum((q for _, q in its.coming), D(0)) + its.short == need.missing
    over = free - sum((its.free for its in found.values()), D(0))
    assert not over or not any(its.short for its in found.values())  # nobody lacks what lies free
