"""When a worker counts as deaf: only while something waits, nothing is begun and nothing is in hand."""

import pytest

from shop.config.listening import Ears

SILENT = (3, 7, False)  # three wait, seven were begun so far, none in hand


def test_deaf_after_so_many_silent_looks():
    ears = Ears(looks=3)
    assert [ears.deaf(*SILENT) for _ in range(4)] == [False, False, False, True]  # the first only learns the count


@pytest.mark.parametrize("heard", [(0, 7, False), (3, 8, False), (3, 7, True)], ids=["empty", "begun", "in-hand"])
def test_whatever_it_hears_counts_from_the_start(heard):
    ears = Ears(looks=3)
    for _ in range(3):
        ears.deaf(*SILENT)
    assert not ears.deaf(*heard)
    assert [ears.deaf(3, heard[1], False) for _ in range(3)] == [False, False, True]
