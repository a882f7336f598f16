"""Ratios of hours against published examples: a training firm's glossary (957 of 1 040 hours), a calculator's example (50 of
40), a trade glossary (5 of 8). The identity is arithmetic; the labels differ in the trade and are not tested."""

from decimal import Decimal as D

import pytest

from jobs.books.ratios import each, of_hundred
from jobs.reports.hours import Hours


@pytest.mark.parametrize(
    ("part", "whole", "expected"), [("957", "1040", "92.02"), ("50", "40", "125"), ("5", "8", "62.5")]
)
def test_published_examples(part, whole, expected):
    assert of_hundred(D(part), D(whole)) == D(expected)


def test_sold_of_attended_is_the_product_of_the_two():
    attended, worked, sold = D(100), D(92), D(115)
    first, second = of_hundred(worked, attended), of_hundred(sold, worked)
    assert (first, second) == (92, 125)
    assert first * second / 100 == of_hundred(sold, attended) == 115


def test_the_report_says_the_published_figures():
    hour = 3600
    one = Hours(over_seconds=1040 * hour, worked_seconds=957 * hour, kept_seconds=957 * hour)
    assert one.worked_of_attended == D("92.02")
    assert Hours(worked_seconds=40 * hour, sold=D(50)).sold_of_worked == 125
    assert Hours(over_seconds=8 * hour, worked_seconds=5 * hour, kept_seconds=5 * hour).worked_of_attended == D("62.5")
    whole = Hours(over_seconds=100 * hour, worked_seconds=92 * hour, kept_seconds=92 * hour, sold=D(115))
    assert whole.worked_of_attended * whole.sold_of_worked / 100 == whole.sold_of_attended == 115


def test_nothing_is_divided_by_nothing():
    assert of_hundred(D(1), D(0)) is None
    assert each(D(1), D(0)) is None
