"""How much: whole packs, least orders, shelf life, money."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.reorder.quantity import Break, Terms, Wish, amount, economic, within


def terms(**more) -> Terms:
    return Terms(**({"breaks": [Break(D(0), D("4.20"))], "order_cost": D(0), "holding_percent": D(20)} | more))


def test_only_what_is_missing_when_ordering_costs_nothing():
    found = amount(D(3), D(40), terms())
    assert (found.quantity, found.price, found.reasons) == (3, D("4.20"), [])


def test_as_many_as_cost_least():
    found = amount(D(3), D(40), terms(order_cost=D(12)))
    assert found.quantity == 34
    assert found.reasons == ["so many at once cost least to order and keep"]


def test_a_price_break_that_pays_is_taken():
    cheaper = terms(
        order_cost=D(12), breaks=[Break(D(0), D("4.20")), Break(D(50), D("3.10"))], currency="EUR"
    )  # fmt: skip
    found = amount(D(3), D(40), cheaper)
    assert (found.quantity, found.price) == (50, D("3.10"))
    assert "from 50 pc on the price falls from 4.20 to 3.10 EUR per pc" in found.reasons
    dear = terms(order_cost=D(12), breaks=[Break(D(0), D("4.20")), Break(D(5000), D("4.00"))])
    assert amount(D(3), D(40), dear).quantity == 34, "a hundred years' use to save a few cents"


def test_a_price_of_a_tube_is_told_by_the_millilitre_as_finely_as_it_counts():
    by_tube = [Break(D(0), D("12.3") / 70), Break(D(700), D("10.5") / 70)]
    found = amount(D(30), D(3000), terms(order_cost=D(20), breaks=by_tube, unit="MLT", currency="EUR"))
    assert "from 700 ml on the price falls from 0.175714 to 0.15 EUR per ml" in found.reasons


def test_whole_packs_and_the_least_order():
    found = amount(D(3), D(40), terms(pack=D(10), least=D(15)))
    assert (found.quantity, found.reasons) == (20, ["the supplier's least order", "whole packs"])


def test_never_more_than_is_used_before_it_expires():
    found = amount(D(3), D(400), terms(order_cost=D(12)), most=D("41.7"))
    assert (found.quantity, found.reasons[-1]) == (41, "no more than will be used before it expires")
    packed = amount(D(3), D(400), terms(order_cost=D(12), pack=D(20)), most=D(45))
    assert packed.quantity == 40
    none = amount(D(3), D(4), terms(pack=D(50)), most=D(20))
    assert none.quantity == 0
    assert none.reasons[-1] == "even the smallest order would be too old before it is used"


@given(
    st.decimals("0.001", 500, places=3), st.decimals(0, 5000, places=2), st.integers(0, 40), st.integers(0, 60),
    st.one_of(st.none(), st.decimals(0, 400, places=2)), st.decimals(0, 30, places=2),
)  # fmt: skip
def test_what_every_amount_keeps_to(short, yearly, pack, least, most, cost):
    found = amount(short, yearly, terms(order_cost=cost, pack=D(pack), least=D(least)), most)
    assert found.quantity >= 0
    if most is not None:
        assert found.quantity <= most
    if found.quantity:
        assert found.quantity >= (least if most is None or found.quantity >= least else 0)
        assert not pack or found.quantity % pack == 0
        assert found.quantity % 1 == 0
        if most is None:
            assert found.quantity >= short


def test_holding_for_nothing_is_refused():
    with pytest.raises(ValueError, match="no quantity is the best"):
        economic(D(10), D(10), D(0))
    assert economic(D(0), D(10), D(0)) == 0


def test_money_goes_to_the_most_urgent_first():
    wishes = [
        Wish(D("0.10"), D(10), D(2), D(5)),
        Wish(D("0.90"), D(10), D(4), D(5)),
        Wish(D("0.50"), D(3), D(3), D(100)),
    ]
    assert within(None, wishes) == [10, 10, 3]
    assert within(D(60), wishes) == [2, 10, 0], "bare needs first, the dear one waits, the rest tops up the urgent"
    assert within(D(0), wishes) == [0, 0, 0]


@given(
    st.lists(st.tuples(st.integers(0, 100), st.integers(1, 20), st.integers(1, 9)), max_size=12), st.integers(0, 500)
)
def test_the_budget_is_never_broken(raw, budget):
    wishes = [Wish(D(u) / 100, D(bare + 5), D(bare), D(price)) for u, bare, price in raw]
    given_ = within(D(budget), wishes)
    assert sum(q * w.price for q, w in zip(given_, wishes, strict=True)) <= budget
    assert all(q in (0, w.bare, w.quantity) for q, w in zip(given_, wishes, strict=True))
