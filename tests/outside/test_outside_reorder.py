"""Order quantities, reorder points and intermittent-demand forecasts against published figures."""

from __future__ import annotations

from decimal import Decimal as D

import numpy as np
import pytest

from inventory.reorder import demand, distribution
from inventory.reorder.quantity import Break, Terms, best, economic, yearly_cost


def test_economic_order_quantity_of_the_textbook():
    """W. J. Stevenson, Operations Management, inventory chapter, example 2: D 9,600 a year, S 75, H 16 -> 300, 32 orders of
    9 working days (288 a year), 2,400 + 2,400 = 4,800."""
    found = economic(D(9600), D(75), D(16))
    assert found == 300
    assert (9600 / found, 288 / (9600 / found)) == (32, 9)
    assert (found / 2 * 16, 9600 / found * 75) == (2400, 2400)


@pytest.mark.parametrize(
    ("yearly", "order", "holding", "expected"),
    [("19500", "25", "4", "493.71"), ("1000", "150", "2.5", "346.41")],
)
def test_economic_order_quantity_of_exercises(yearly, order, holding, expected):
    """Heizer and Render, Operations Management, ch. 12; a textbook exercise with H = 25 % of 10."""
    assert round(economic(D(yearly), D(order), D(holding)), 2) == D(expected)


def test_cost_off_the_optimum():
    """Half as much again as the best costs 1/2 (q + 1/q) = 1.08333 times as much."""
    terms = Terms([Break(D(0), D(100))], D(75), D(16))
    at = lambda q: yearly_cost(q, D(9600), D(100), terms) - 9600 * 100  # noqa: E731
    assert round(at(D(450)) / at(D(300)), 5) == D("1.08333")


def test_price_breaks_are_weighed_by_their_whole_cost():
    """W. J. Stevenson, Operations Management, inventory chapter, quantity discounts with holding as a share of the price: the
    method is checked here against every quantity from 1 to 1,000 by its plain yearly cost."""
    terms = Terms([Break(D(0), D("0.90")), Break(D(501), D("0.85")), Break(D(1001), D("0.82"))], D(30), D(18))
    breaks = sorted(terms.breaks, key=lambda b: b.quantity)

    def cost(q: int) -> D:
        price = [b.price for b in breaks if b.quantity <= q][-1]
        return yearly_cost(D(q), D(4000), price, terms)

    cheapest = min(range(1, 3000), key=cost)
    assert abs(best(D(4000), terms) - cheapest) < 1


@pytest.mark.parametrize(("mean", "expected"), [(0.5, (1, 2, 3)), (1.0, (2, 3, 4)), (2.0, (4, 5, 6)), (3.2, (6, 6, 8))])
def test_poisson_base_stock(mean, expected):
    """Least S with P(X <= S) >= .90, .95, .99 of a Poisson demand: scipy 1.17, poisson.ppf."""
    turn = np.exp(-2j * np.pi * np.arange(distribution.GRID // 2 + 1) / distribution.GRID)[None, :]
    logarithm = distribution._often(turn, np.array([[mean / 2]]), np.array([[mean / 2]]))
    chances = np.fft.irfft(np.exp(2 * logarithm), n=distribution.GRID, axis=1)  # two months of half the demand
    curve = distribution.Curve(chances, np.ones(1))
    assert tuple(curve.enough(np.array([service]))[0] for service in (0.9, 0.95, 0.99)) == expected


def test_reorder_point_of_steady_demand():
    """W. J. Stevenson, Operations Management, 14th ed. 2021, p. 528, ch. 12 example 8: demand over the lead time 50,
    standard deviation 5, risk 3 % -> reorder point 59.40 (z 1.88; 59.404 exactly). Ours counts pieces, and takes the negative
    binomial of the same mean and spread or the normal curve where it moves in many steps."""
    turn = np.exp(-2j * np.pi * np.arange(distribution.GRID // 2 + 1) / distribution.GRID)[None, :]
    chances = np.fft.irfft(
        np.exp(distribution._often(turn, np.array([[50.0]]), np.array([[25.0]]))), n=distribution.GRID, axis=1
    )
    found = distribution.Curve(chances, np.ones(1)).enough(np.array([0.97]))[0]
    assert found in (59, 60)


A = [2, 0, 0, 1, 0, 0, 0, 3, 0, 0, 2, 0, 1, 0, 0, 0, 0, 4, 0, 1, 0, 0, 2, 0]  # invented


def test_croston_sba_and_tsb_of_the_oracle_series():
    """An invented series; values that statsforecast 2.1.1, R forecast 8.20 and R tsintermittent 1.10 (init "naive", init.opt
    FALSE) agree on to 1e-12."""
    known = demand.smooth(np.array([A, A], dtype=float), 0.1, 0.1)
    assert known.size[:, -1] == pytest.approx([2.0050049] * 2, abs=1e-7)
    assert known.interval[:, -1] == pytest.approx([2.1015552] * 2, abs=1e-7)
    assert known.croston()[:, -1] == pytest.approx([0.954057690229] * 2, abs=1e-9)
    assert known.sba(0.1)[:, -1] == pytest.approx([0.906354805717] * 2, abs=1e-9)
    assert known.sbj(0.1)[:, -1] == pytest.approx([0.903844127585] * 2, abs=1e-9)


@pytest.mark.parametrize(
    ("size", "often", "expected"),
    [(0.2, 0.2, 0.674980220001), (0.1, 0.3, 0.656986778075), (0.3, 0.1, 0.768289744929)],
)
def test_tsb_of_the_oracle_series(size, often, expected):
    """As above. TSB updates the size only with a demand, the chance every period."""
    assert demand.smooth(np.array([A], dtype=float), size, often).tsb()[0, -1] == pytest.approx(expected, abs=1e-9)


def test_class_of_the_oracle_series():
    """ADI 3.0 and CV2 0.25 (population): "intermittent" by the limits 1.32 and 0.49 of Syntetos, Boylan and Croston 2005."""
    history = np.array([A], dtype=float)
    often, variation = demand.patterns(history)
    assert (often[0], variation[0]) == (3.0, pytest.approx(0.25))
    assert demand.CLASSES[demand.classes(history)[0]] == "intermittent"
