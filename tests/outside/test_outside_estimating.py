"""Estimating against published or independently computed figures.

- Fenton-Wilkinson sum of two lognormals: L. F. Fenton, "The sum of log-normal probability distributions in scatter
  transmission systems", IRE Trans. Comm. Syst. 8 (1960); the case (medians 110 and 100, sigma 0.25 and 0.15) is that of the
  vignette of the R package lognorm, after C. F. Lo (2012). Percentiles: numerical integration, computed.
- Normal-inverse-gamma update: K. P. Murphy, "Conjugate Bayesian analysis of the Gaussian distribution" (2007), formulas from
  memory; figures computed.
- P80 of a normal: mean + 0.841621 sigma, by definition.
"""

import math
from decimal import Decimal as D

import pytest

from jobs.learning import hours, sums
from jobs.learning.sums import Portion

PAIR = [Portion(math.log(110), 0.25), Portion(math.log(100), 0.15)]


def test_fenton_wilkinson():
    middle, spread = sums.matched(PAIR, 0.0)
    assert middle == pytest.approx(5.35747151, abs=1e-4)
    assert spread == pytest.approx(0.15107670, abs=1e-4)
    found = sums.of_sum(PAIR, [], {}, together=0.0, places=D("0.001"))
    assert (found.mean, found.likely, found.careful) == (D("214.623"), D("212.188"), D("240.958"))


def test_close_to_the_exact_sum():
    """By convolution P50 is 211.660 and P80 240.414: the matched lognormal is 0.25 % high at most."""
    found = sums.of_sum(PAIR, [], {}, together=0.0)
    assert float(found.likely) == pytest.approx(211.660, rel=0.003)
    assert float(found.careful) == pytest.approx(240.414, rel=0.003)


def test_normal_inverse_gamma():
    """Prior m 6, k 2, a 3, b 2; data 7.1, 6.4, 7.9: m 6.68, k 5, a 4.5, b 3.334; predictive t, 9 df, scale 0.942903."""
    mean, deviation = hours.posterior([7.1, 6.4, 7.9], mean=6.0, jobs=2.0, shape=3.0, spread=1.0)
    assert mean == pytest.approx(6.68, abs=1e-9)
    scale, freedom = 0.942903, 9
    assert deviation == pytest.approx(scale * math.sqrt(freedom / (freedom - 2)), abs=1e-5)


def test_p80_of_a_normal():
    assert pytest.approx(0.841621, abs=1e-6) == hours.Z80
    assert pytest.approx(9.762432, abs=1e-5) == 8.5 + hours.Z80 * 1.5


RATINGS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


@pytest.mark.parametrize(("judges", "published"), [((1, 2, 3, 4), 0.71), ((1, 1, 1, 1), 0.17)])
def test_intraclass_correlation(judges, published):
    """Shrout and Fleiss, "Intraclass correlations" (1979), table 2: six targets, four judges who score at levels of their own.
    With each judge's mean taken out ICC(3,1) = 0.71, with one mean for all ICC(1,1) = 0.17."""
    rows = [(n, judge, x) for n, scores in enumerate(RATINGS) for judge, x in zip(judges, scores, strict=True)]
    drawn = hours.together(rows)
    found = (drawn * (hours.TOGETHER_JOBS + 6) - hours.TOGETHER_JOBS * hours.PRIOR_TOGETHER) / 6
    assert found == pytest.approx(published, abs=0.005)
