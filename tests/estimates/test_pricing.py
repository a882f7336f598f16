"""Prices of lines and documents from plain values: by example, and for any mix."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.estimates import pricing
from jobs.estimates.agreed import Answer, family, stage_answers, standing
from jobs.estimates.pricing import PartWanted, Rate, StageWork, Tax
from shop.kernel.totals import Adjustment, Vat, broken_rules, percent_of

S23 = Tax("S23", "S", D("23"))
DAY = date(2026, 11, 25)


def work(hours="3.5", rate: str | None = "68", **more):
    return StageWork(1, 2, "Fit rings", "fit", D(hours), Rate(D(rate) if rate else None, "fit", "", DAY), **more)


def test_hours_of_a_stage_at_the_rate_of_its_kind():
    item = pricing.labour(work(cost_per_hour=D("24")), S23)
    assert (item.quantity, item.unit, item.unit_price, item.cost) == (D("3.50"), "HUR", D("68"), D("84.0000"))
    assert pricing.net(item, "EUR") == D("238.00")
    assert item.basis["quantity"] == "standard"
    assert pricing.labour(work(done=True), S23).basis["quantity"] == "booked"


def test_a_price_that_is_not_known_says_so():
    assert pricing.labour(work(rate=None), S23).basis["price"] == "missing"
    assert pricing.sent_out(work(), S23).basis["price"] == "missing"
    wanted = PartWanted(9, 1, "GKT-041", "Gasket", "C62", D(2), None, S23)
    assert (pricing.part(wanted).unit_price, pricing.part(wanted).basis["price"]) == (D(0), "missing")


def test_sundries_and_markup():
    item = pricing.sundries(D("2.5"), D("495.80"), S23, "EUR", text="Sundries")
    assert item.unit_price == D("12.40")  # 12.395, half up
    assert pricing.with_markup(D("98"), D("20")) == D("117.600000")


def test_a_line_is_rounded_once_and_a_gift_costs_nothing():
    def line(quantity, price, discount="0"):
        return SimpleNamespace(
            kind="part", quantity=D(quantity), unit_price=D(price), discount_percent=D(discount), tax_category="S",
            tax_percent=D(23),
        )  # fmt: skip

    assert pricing.net(line("3", "0.335"), "EUR") == D("1.01")
    assert pricing.net(line("1", "0.005", "100"), "EUR") == D("0.00")
    assert pricing.net(line("3", "33.333333"), "JPY") == D("100")
    assert pricing.net(line("1", "1.0005"), "KWD") == D("1.001")


@pytest.mark.parametrize(
    ("quantity", "wanted", "shares"),
    [("5", ["2", "1"], ["2", "3"]), ("1", ["2", "1"], ["1", "0"]), ("0", ["2"], ["0"]), ("5", ["2"], ["5"])],
)
def test_what_was_done_is_shared_over_what_was_estimated(quantity, wanted, shares):
    assert pricing.share_out(D(quantity), [D(x) for x in wanted]) == [D(x) for x in shares]


def places(whole: int, decimals: int):
    return st.integers(0, 10 ** (whole + decimals)).map(lambda n: D(n).scaleb(-decimals))


LINE = st.builds(
    SimpleNamespace,
    kind=st.sampled_from(["labour", "part", "sublet", "sundry"]),
    quantity=places(3, 3).map(lambda q: q + D("0.001")),
    unit_price=places(3, 6),
    discount_percent=st.one_of(st.just(D(0)), st.just(D(100)), places(2, 3)),
    tax_category=st.just("S"),
    tax_percent=st.sampled_from([D("23"), D("13.5"), D("9")]),
    optional=st.booleans(),
)


@given(st.lists(LINE, max_size=12), places(2, 3), st.sampled_from(["EUR", "JPY", "KWD"]))
def test_any_mix_keeps_the_rules_to_the_last_digit(lines, percent, currency):
    totals = pricing.total(lines, currency, percent)
    counted = [x for x in lines if not x.optional]
    nets = [pricing.net(x, currency) for x in counted]
    assert list(totals.line_nets) == nets
    unit = D(1).scaleb(-{"EUR": 2, "JPY": 0, "KWD": 3}[currency])
    for line, net in zip(counted, nets, strict=True):
        exact = line.quantity * line.unit_price * (100 - line.discount_percent) / 100
        assert net >= 0
        assert abs(net - exact) <= unit  # price and discount rounded to half a unit each
    by_rate: dict[Vat, D] = {}
    for line, net in zip(counted, nets, strict=True):
        vat = Vat("S", line.tax_percent)
        by_rate[vat] = by_rate.get(vat, D(0)) + net
    taken = [Adjustment(percent_of(s, percent, currency), vat) for vat, s in by_rate.items()] if percent else []
    assert broken_rules(totals, taken) == []
    assert 0 <= totals.net <= totals.lines


def test_what_stands_when_revisions_and_answers_meet():
    replaces = {10: None, 20: 10, 30: 20, 31: None}
    assert family(30, replaces) == [30, 20, 10]
    answers = {10: True, 31: False}
    assert standing([30, 31], replaces, answers) == {30: Answer(10, True), 31: Answer(31, False)}
    assert standing([30], replaces, answers | {30: False}) == {30: Answer(30, False)}
    assert standing([20], {20: None}, {}) == {20: Answer(None, False)}


@pytest.mark.parametrize(
    ("answers", "stages"),
    [
        ({1: True}, {7: True}),
        ({1: False}, {7: False}),
        ({2: False}, {}),  # a part alone doesn't decide
        ({1: True, 2: False}, {7: True}),
        ({3: True}, {8: True}),  # unless the stage has nothing else
        ({}, {}),
    ],
)
def test_what_answers_mean_for_stages(answers, stages):
    lines = [(1, 7, "labour"), (2, 7, "part"), (3, 8, "part"), (4, None, "sundry")]
    assert stage_answers(lines, answers) == stages
