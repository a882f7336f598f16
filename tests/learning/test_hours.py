"""What hours teach, from plain values."""

import math
from decimal import Decimal as D

import pytest

from jobs.learning import hours, sums
from jobs.learning.hours import Seen
from jobs.learning.sums import Certain, Portion


def seen(*booked: str, standard: str = "4", left_out: str = "") -> list[Seen]:
    return [Seen(n, n, f"26-{n:04}", D(standard), D(b), left_out) for n, b in enumerate(booked, 1)]


def test_without_jobs_the_plan_speaks():
    found = hours.learn(D("4"), [])
    assert found.likely == D("4.00")
    assert D("5.00") < found.careful < D("5.60")
    assert (found.jobs, found.weight) == (0, 0)


def test_each_job_moves_it_and_many_count_nearly_alone():
    likely = [hours.learn(D("4"), seen(*["8"] * n)).likely for n in (0, 1, 2, 5, 40)]
    assert likely == sorted(likely)
    assert likely[1] < D("6")
    assert likely[4] > D("7.5")
    narrow, wide = (hours.learn(D("4"), seen(*jobs)) for jobs in (["4"] * 20, ["2", "8"] * 10))
    assert narrow.careful < wide.careful
    assert narrow.likely == wide.likely == D("4.00")


def test_a_standard_that_was_raised_is_not_counted_twice():
    """Jobs done in 8 h say that 8 is right, whatever the plan said when they were done."""
    for then in ("4", "8"):
        assert hours.learn(D("8"), seen(*["8"] * 30, standard=then)).likely == D("8.00")


def test_outliers_are_shown_and_count():
    jobs = seen("4", "4.2", "3.9", "4.1", "4", "20")
    found = hours.learn(D("4"), jobs)
    assert found.outliers == (6,)
    assert found.jobs == 6
    without = hours.learn(D("4"), [*jobs[:5], Seen(6, 6, "x", D("4"), D("20"), "Crane broke down")])
    assert without.jobs == 5
    assert without.careful < found.careful


def test_no_standard_hours_nothing_to_compare():
    assert hours.learn(D("0"), seen("3")) is None


def rows(*cards: list[float]) -> list[tuple[int, str, float]]:
    """Cards of the stages A, B and so on, as (card, stage, logarithm)."""
    return [(n, "ABCD"[k], x) for n, card in enumerate(cards) for k, x in enumerate(card)]


def test_stages_of_a_card_together():
    alike = [[x, x + 0.01] for x in (-0.5, 0.4, 0.1, -0.2, 0.3, 0.6)] * 10
    apart = [[x, -x] for x in (-0.5, 0.4, 0.1, -0.2, 0.3, 0.6)] * 10
    assert hours.together(rows(*alike)) > 0.8
    assert hours.together(rows(*apart)) == 0.0
    assert hours.together(rows([0.1, 0.2])) == hours.PRIOR_TOGETHER
    assert hours.together(rows(*[[0.2, 0.2]] * 9)) == hours.PRIOR_TOGETHER, "nothing varies"


def test_the_correlation_is_about_the_own_mean_of_each_stage():
    """One always takes twice its hours, the other 0.7 of them, both the longer on the same cards: all of it is shared. With
    the correlation 1 of 20 cards, drawn to 0.3 with the weight of 10: (10 x 0.3 + 20) / 30."""
    shared = [0.2, -0.1, 0.05, -0.3, 0.15] * 4
    cards = rows(*([math.log(2) + x, math.log(0.7) + x] for x in shared))
    assert hours.within_cards(hours.own_means_out(cards)) == pytest.approx(1)
    assert hours.together(cards) == pytest.approx(23 / 30)


def test_a_stage_seen_once_says_nothing_of_how_stages_go_together():
    cards = rows([0.1, 0.2], [0.3, 0.1], [-0.2, -0.1], [0.0, 0.2])
    odd = [(1, "seldom", 3.0), (7, "A", 0.4), (8, "alone", 0.1), (8, "also", 0.9)]
    apart = hours.own_means_out([*cards, *odd])
    assert [len(x) for x in apart.cards] == [2, 2, 2, 2]
    assert apart.stages == 2


def test_careful_figure_of_a_sum_is_below_the_sum_of_careful_figures():
    portions = [Portion(math.log(4), 0.4) for _ in range(6)]
    alone = sums.of_sum(portions[:1], [], {}, together=0.3)
    apart = sums.of_sum(portions, [], {}, together=0.0)
    linked = sums.of_sum(portions, [], {}, together=0.3)
    locked = sums.of_sum(portions, [], {}, together=1.0)
    assert apart.careful < linked.careful < locked.careful
    assert linked.careful < 6 * alone.careful
    assert abs(locked.careful - 6 * alone.careful) <= D("0.03")
    assert apart.mean == linked.mean == locked.mean


def test_work_with_a_chance():
    main, rebore = Portion(math.log(10), 0.2), Portion(math.log(5), 0.2, 1.0, "rebore")
    piston = Certain(D("90"), "rebore")
    seldom = sums.of_sum([main, rebore], [piston], {"rebore": D("0.1")}, together=0.0)
    often = sums.of_sum([main, rebore], [piston], {"rebore": D("0.3")}, together=0.0)
    never = sums.of_sum([main, rebore], [piston], {"rebore": D("0")}, together=0.0)
    assert never == sums.of_sum([main], [], {}, together=0.0)
    assert never.careful < seldom.careful < D("20"), "once in ten: the careful figure is still without it"
    assert often.careful > D("100"), "three in ten: the careful figure has it"
    assert sums.of_sum([main, rebore], [piston], {}, together=0.0).likely > D("100"), "no chance given: it is done"


def test_hours_that_are_billed_up_to_a_minimum():
    """70 an hour of at least 2 h. The chance of 2 h to be enough is N((ln 2 - ln 1.8) / 0.3) = 0.6373, so half of such jobs are
    billed 140; four of five stay below 70 x 1.8 exp(0.841621 x 0.3) = 162.19. The mean 152.428 by integrating numerically
    (trapezoids, 4 million, from -10 to 10 standard deviations)."""
    run = Portion(math.log(1.8), 0.3, 70.0, None, 2.0)
    assert run.below == pytest.approx(0.6373, abs=1e-4)
    assert run.mean == pytest.approx(152.428133, abs=1e-5)
    found = sums.of_sum([run], [], {}, together=0.3)
    assert (found.mean, found.likely) == (D("152.43"), D("140.00"))
    assert float(found.careful) == pytest.approx(162.19, rel=0.005)
    assert sums.of_sum([run], [], {}, together=0.3) == found, "the same again"


def test_a_minimum_within_a_sum():
    """Beside a stage of 4 h, spread 0.25, whose logarithm goes with that of the other by 0.3: P50 429.739 and P80 504.246 by
    integrating the bivariate normal numerically and bisecting."""
    run, fit = Portion(math.log(1.8), 0.3, 70.0, None, 2.0), Portion(math.log(4), 0.25, 70.0)
    found = sums.of_sum([run, fit], [], {}, together=0.3)
    assert float(found.mean) == pytest.approx(run.mean + fit.mean, abs=0.005)
    assert float(found.likely) == pytest.approx(429.739, rel=0.005)
    assert float(found.careful) == pytest.approx(504.246, rel=0.005)
    with_part = sums.of_sum([run, fit], [Certain(D("90.55"))], {}, together=0.3)
    assert with_part.careful == found.careful + D("90.55")


def test_a_minimum_that_is_always_or_never_enough():
    always = Portion(math.log(0.75), 0.3, 70.0, None, 2.0)
    assert sums.of_sum([always], [], {}, together=0.3) == sums.Range(D("140.00"), D("140.00"), D("140.00"))
    never = Portion(math.log(8), 0.3, 70.0, None, 2.0)
    assert sums.of_sum([never], [], {}, together=0.3) == sums.of_sum(
        [Portion(math.log(8), 0.3, 70.0)], [], {}, together=0.3
    )


def test_a_minimum_of_work_with_a_chance():
    run = Portion(math.log(1.8), 0.3, 70.0, "run", 2.0)
    seldom = sums.of_sum([run], [Certain(D("100")), Certain(D("20"), "run")], {"run": D("0.1")}, together=0.3)
    often = sums.of_sum([run], [Certain(D("100")), Certain(D("20"), "run")], {"run": D("0.9")}, together=0.3)
    assert (seldom.likely, seldom.careful) == (D("100.00"), D("100.00"))
    assert often.likely == D("260.00")
    assert float(often.mean) == pytest.approx(100 + 0.9 * (run.mean + 20), abs=0.005)
    sure = sums.of_sum([run], [Certain(D("20"), "run")], {}, together=0.3)
    assert sure.likely == D("160.00"), "no chance given: it is done"


@pytest.mark.parametrize(("chances", "together"), [({"a": D("1.1")}, 0.0), ({"a": D("-0.1")}, 0.0), ({}, 1.5)])
def test_impossible_chances(chances, together):
    with pytest.raises(ValueError):
        sums.of_sum([], [], chances, together=together)


def test_nothing_and_known_amounts():
    assert sums.of_sum([], [], {}, together=0.3) == sums.Range(D("0.00"), D("0.00"), D("0.00"))
    assert sums.of_sum([], [Certain(D("12.50"))], {}, together=0.3).careful == D("12.50")
