"""Forecasts, distributions and levels: what they must do whatever the history."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.reorder import demand, distribution, levels
from tests.architecture.code import ROOT

rows = st.lists(
    st.lists(st.one_of(st.just(0), st.integers(0, 60)), min_size=14, max_size=14), min_size=1, max_size=6
).map(lambda r: np.array(r, dtype=float))


def of(history, service=0.95, months=(1.3, 2.4), weights=(0.7, 0.3), **more):
    parts = len(history)
    found = list(
        levels.of(
            history,
            np.tile(months, (parts, 1)),
            np.tile(weights, (parts, 1)),
            np.full(parts, service),
            np.ones(parts, bool),
            **more,
        )
    )
    return found[0]


@settings(max_examples=60, deadline=None)
@given(rows)
def test_chances_sum_to_one_and_more_service_never_takes_less(history):
    found = of(history)
    assert found.curve.chances.sum(1) == pytest.approx(np.ones(len(history)))
    assert (found.curve.chances >= 0).all()
    low, high = found.at(0.8), found.at(0.99)
    assert (low <= high).all()
    assert (found.level == np.rint(found.level)).all(), "pieces are whole"
    asked = history.max(1) > 0
    assert (found.level[~asked] == 0).all(), "nobody asked for it"
    short = found.curve.short(found.level)
    assert (short[asked] <= 0.05 + 1e-6).all()


@settings(max_examples=40, deadline=None)
@given(rows)
def test_each_part_is_told_as_if_it_stood_alone(history):
    """Vectorised: other parts change only what is leaned on, never the forecast itself."""
    together = demand.forecast(history)
    for n in range(len(history)):
        alone = demand.forecast(history[n : n + 1])
        assert (alone.rate[0], alone.method[0]) == (together.rate[n], together.method[n])


def test_the_method_is_the_one_that_told_the_past_best():
    dying = [4, 3, 4, 5, 4, 3, 4, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    found = demand.forecast(np.array([dying], dtype=float))
    assert demand.METHODS[found.method[0]] == "tsb", "the others never hear that nobody asks any more"
    assert found.rate[0] < 0.3
    short = demand.forecast(np.array([[1, 0, 2, 0, 0]], dtype=float))
    assert (short.tried, demand.METHODS[short.method[0]]) == (0, "sba")


def test_the_four_classes():
    history = np.array(
        [
            [0] * 12,
            [5, 5, 6, 5, 4, 5, 5, 6, 5, 5, 4, 5],
            [1, 9, 1, 12, 1, 1, 20, 1, 2, 1, 15, 1],
            [0, 2, 0, 0, 2, 0, 0, 0, 2, 0, 0, 2],
            [0, 1, 0, 0, 20, 0, 0, 0, 1, 0, 0, 30],
        ],
        dtype=float,
    )
    assert [demand.CLASSES[n] for n in demand.classes(history)] == list(demand.CLASSES)


def test_lumpy_demand_is_no_bell_curve():
    """Sizes 1 and 20, one month in four: half of all waits need nothing, where a bell curve would put its mean, and the rare
    one needs a whole 20, which is no multiple of the spread."""
    lumpy = np.array([[0, 0, 20, 0, 0, 1, 0, 0, 0, 20, 0, 0, 0, 1, 0, 0, 20, 0, 0, 0, 0, 20, 0, 0]], dtype=float)
    assert lumpy.mean() * 1.63 > 5
    assert of(lumpy, 0.5).level[0] == 0
    assert 20 <= of(lumpy, 0.97).level[0] <= 42


def test_an_uncertain_lead_time_takes_more_stock():
    history = np.array([[0, 1, 2, 0, 1, 0, 3, 1, 0, 2, 1, 0, 0, 1, 2, 0, 1, 0, 1, 1]], dtype=float)
    sure = of(history, 0.95, (2.0,), (1.0,)).level[0]
    unsure = of(history, 0.95, (1.0, 4.0), (2 / 3, 1 / 3)).level[0]  # the same mean
    assert unsure > sure


def test_what_is_known_already_is_not_expected_again():
    history = np.array([[0, 2, 1, 0, 4, 0, 1, 0, 0, 2, 0, 3, 0, 1]] * 2, dtype=float)
    whole, rest = of(history, share=np.array([1.0, 0.25])).level
    assert rest < whole


def test_a_measured_part_counts_in_fine_steps():
    history = np.array([[120.0, 35.5, 0, 250, 80, 60, 0, 90, 110, 45, 0, 200]])
    found = next(levels.of(history, np.array([[0.5]]), np.array([[1.0]]), np.array([0.9]), np.array([False])))
    assert found.curve.step[0] < 25
    assert 40 < found.level[0] < 400


def test_what_is_beyond_the_grid_is_held_in_larger_steps():
    history = np.array([[0, 5000.0, 0, 0, 12000, 0, 0, 9000, 0, 0, 7000, 0]])
    found = of(history, 0.95)
    assert found.curve.step[0] > 1
    assert found.level[0] >= 9000


def test_serving_the_shop_does_not_load_numpy():
    code = (
        "import django, sys; django.setup(); from django.urls import get_resolver; get_resolver().url_patterns;"
        "from shop.trail import outbox; sys.exit('numpy' in sys.modules)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120,
        env={"PATH": "/usr/bin:/bin", "DJANGO_SETTINGS_MODULE": "tests.settings", "PYTHONPATH": str(ROOT)}, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-800:] or "numpy is loaded by serving the shop"


def test_leaning_keeps_to_the_group():
    chance, asked = np.array([0.5, 0.1, 0.9, 0.0]), np.array([True, True, True, False])
    found = distribution.lean(chance, 36, np.full(4, 0.1), asked, np.array([0, 0, 1, 1]))
    assert found[2] == pytest.approx(0.9), "alone in its group"
    assert 0.1 < found[1] < 0.3 < found[0] < 0.5
    assert found[3] == 0
