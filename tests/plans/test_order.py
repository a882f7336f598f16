from decimal import Decimal

import pytest

from jobs.plans.order import Step, critical_path, in_order
from shop.kernel.errors import BadInput


def step(key, hours="1", *after):
    return Step(key, f"S{key}", Decimal(hours), frozenset(after))


def keys(steps):
    return [s.key for s in steps]


def test_stages_keep_their_order_where_nothing_forbids_it():
    assert keys(in_order([step(3), step(1), step(2)])) == [3, 1, 2]
    assert keys(in_order([])) == []


def test_each_comes_after_what_it_waits_for():
    assert keys(in_order([step(1, "1", 3), step(2), step(3, "1", 2), step(4)])) == [2, 3, 1, 4]


def test_the_longest_chain_decides_not_the_sum():
    #     2 (3 h)
    # 1 <         > 4 (1 h)     5 (4 h) alone
    #     3 (2.5 h)
    steps = [step(1, "1.5"), step(2, "3", 1), step(3, "2.5", 1), step(4, "1", 2, 3), step(5, "4")]
    hours, chain = critical_path(steps)
    assert (hours, keys(chain)) == (Decimal("5.5"), [1, 2, 4])


def test_an_independent_stage_can_be_the_longest():
    hours, chain = critical_path([step(1, "1"), step(2, "1", 1), step(3, "7.25")])
    assert (hours, keys(chain)) == (Decimal("7.25"), [3])


def test_no_stages_no_hours():
    assert critical_path([]) == (Decimal(0), [])


def test_of_two_equal_chains_the_first():
    assert keys(critical_path([step(1), step(2), step(3, "1", 1), step(4, "1", 2)])[1]) == [1, 3]


@pytest.mark.parametrize(
    ("steps", "named", "not_named"),
    [
        ([step(1, "1", 1)], ["S1"], []),
        ([step(1, "1", 2), step(2, "1", 1)], ["S1", "S2"], []),
        # 4 waits for the circle without being in it
        ([step(4, "1", 3), step(1, "1", 3), step(2, "1", 1), step(3, "1", 2)], ["S1", "S2", "S3"], ["S4"]),
    ],
)
def test_a_circle_is_named(steps, named, not_named):
    for work in (in_order, critical_path):
        with pytest.raises(BadInput) as refused:
            work(steps)
        assert all(f"“{n}”" in refused.value.message for n in named)
        assert not any(f"“{n}”" in refused.value.message for n in not_named)
        assert list(refused.value.fields) == ["after"]


def test_waiting_for_a_stage_that_is_not_there():
    with pytest.raises(BadInput, match="not in this plan"):
        in_order([step(1, "1", 9)])
