import pytest

from jobs.machines.lineage import below, check_parent
from shop.kernel.errors import BadInput

#   1 - 2 - 3      4 - 5
PARENTS = {1: None, 2: 1, 3: 2, 4: None, 5: 4}


def test_below_finds_all_levels():
    assert below(PARENTS, 1) == {2, 3}
    assert below(PARENTS, 3) == set()


@pytest.mark.parametrize(("child", "parent"), [(1, 1), (1, 2), (1, 3), (2, 3)])
def test_a_circle_is_refused(child, parent):
    with pytest.raises(BadInput):
        check_parent(PARENTS, child, parent)


def test_depth_counts_what_comes_along():
    check_parent(PARENTS, 4, 3)  # five deep
    with pytest.raises(BadInput, match="at most 5 deep"):
        check_parent(PARENTS | {6: 5}, 4, 3)


def test_a_circle_that_is_there_already_ends():
    with pytest.raises(BadInput):
        check_parent({1: 2, 2: 1, 3: None}, 1, 2)
