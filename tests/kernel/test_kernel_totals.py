from __future__ import annotations

import dataclasses
from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.kernel.errors import BadInput
from shop.kernel.rounding import minor_unit, minor_units
from shop.kernel.totals import (
    Adjustment,
    Line,
    Totals,
    Vat,
    broken_rules,
    compute,
    line_net,
    percent_of,
)

S19 = Vat("S", D(19))
S7 = Vat("S", D(7))
EXEMPT = Vat("E")
CURRENCIES = ["EUR", "JPY", "KWD", "CLF"]


def test_a_job_with_two_rates():
    totals = compute(
        [
            Line(D("3.5"), D("68.00"), S19),  # hours
            Line(D("12.5"), D("38.90"), S19, base_quantity=D(100), allowances=D("0.40")),  # sealant, per 100 ml
            Line(D(2), D("9.99"), S7, charges=D("1.00")),
        ],
        "EUR",
        adjustments=[Adjustment(D("10.00"), S19), Adjustment(D("4.90"), S7, is_charge=True)],
        paid=D("50.00"),
        rounding=D("0.03"),
    )
    # 38.90 x 12.5 / 100 = 4.8625, less 0.40 = 4.4625
    assert [str(n) for n in totals.line_nets] == ["238.00", "4.46", "20.98"]
    assert [(g.vat.rate, str(g.taxable), str(g.tax)) for g in totals.groups] == [
        (D(19), "232.46", "44.17"),
        (D(7), "25.88", "1.81"),
    ]
    assert {f.name: str(getattr(totals, f.name)) for f in dataclasses.fields(Totals)[3:]} == {
        "lines": "263.44",
        "allowances": "10.00",
        "charges": "4.90",
        "net": "258.34",
        "vat": "45.98",
        "gross": "304.32",
        "paid": "50.00",
        "rounding": "0.03",
        "due": "254.35",
    }


def test_nothing_on_it():
    totals = compute([], "EUR")
    assert (str(totals.due), totals.groups, totals.line_nets) == ("0.00", (), ())


def test_zero_lines_keep_their_group():
    totals = compute([Line(D(0), D(5), S19), Line(D(1), D(0), S7)], "EUR")
    assert [(g.vat, str(g.taxable), str(g.tax)) for g in totals.groups] == [
        (S19, "0.00", "0.00"),
        (S7, "0.00", "0.00"),
    ]


def test_a_line_is_rounded_once_at_its_end():
    assert line_net(Line(D(3), D("0.335"), S19), "EUR") == D("1.01")
    assert line_net(Line(D(1), D("10"), S19, base_quantity=D(3)), "EUR") == D("3.33")
    assert line_net(Line(D(1), D("0.015"), S19, base_quantity=D(3)), "EUR") == D("0.01")  # a tie only by division
    # -0.005 + 1.00 = 0.995: rounding before the charge would give -0.01 + 1.00 = 0.99
    assert line_net(Line(D(-1), D("0.015"), S19, base_quantity=D(3), charges=D("1.00")), "EUR") == D("1.00")


def test_rates_written_differently_are_one_group():
    lines = [Line(D(1), D(1), Vat("S", D(text))) for text in ("19", "19.0", "19.00")]
    assert len(compute(lines, "EUR").groups) == 1


def test_same_rate_of_two_categories_stays_apart():
    totals = compute([Line(D(1), D(1), EXEMPT), Line(D(1), D(1), Vat("AE"))], "EUR")
    assert [g.vat.category for g in totals.groups] == ["AE", "E"]


def test_a_document_discount_in_percent():
    assert percent_of(D("258.34"), D("2.5"), "EUR") == D("6.46")
    assert percent_of(D("-258.34"), D("2.5"), "EUR") == D("-6.46")
    assert percent_of(D("1001"), D("2.5"), "JPY") == D("25")


@pytest.mark.parametrize(
    ("category", "rate"),
    [
        ("S", "0"),
        ("S", "101"),
        ("S", "-1"),
        ("S", "NaN"),
        ("Z", "19"),
        ("E", "1"),
        ("AE", "1"),
        ("O", "1"),
        ("X", "0"),
        ("s", "19"),
    ],
)
def test_category_and_rate_must_go_together(category, rate):
    with pytest.raises(BadInput):
        Vat(category, D(rate))


@pytest.mark.parametrize(
    ("line", "field"),
    [
        (Line(D(1), D("-1"), S19), "price"),
        (Line(D(1), D(1), S19, base_quantity=D(0)), "base_quantity"),
        (Line(D(1), D(1), S19, base_quantity=D(-1)), "base_quantity"),
        (Line(D(1), D(1), S19, allowances=D("0.005")), "allowances"),
        (Line(D(1), D(1), S19, charges=D("0.005")), "charges"),
        (Line(D(1), D(1), S19, charges=D("NaN")), "charges"),
        (Line(D("Infinity"), D(1), S19), "quantity"),
        (Line(D("NaN"), D(1), S19), "quantity"),
        (Line(D(1), D("NaN"), S19), "price"),
        (Line(D(1), D("Infinity"), S19), "price"),
        (Line(D(1), D(1), S19, base_quantity=D("NaN")), "base_quantity"),
        (Line(D("1E+60"), D("1E+60"), S19), "quantity"),
    ],
)
def test_an_impossible_line_is_named_by_its_place(line, field):
    with pytest.raises(BadInput) as refused:
        compute([Line(D(1), D(1), S19), line], "EUR")
    assert list(refused.value.fields) == [f"lines.1.{field}"]
    assert refused.value.message.startswith("Line 2: ")


def test_other_refusals():
    one = [Line(D(1), D(1), S19)]
    for wrong, code in (
        (lambda: compute(one, "EUX"), "unknown-currency"),
        (lambda: compute(one, "EUR", paid=D("0.005")), "too-many-decimals"),
        (lambda: compute(one, "JPY", rounding=D("0.5")), "too-many-decimals"),
        (lambda: compute(one, "EUR", paid=D("NaN")), "not-a-number"),
        (lambda: compute(one, "EUR", adjustments=[Adjustment(D("0.005"), S19)]), "too-many-decimals"),
        (lambda: compute([Line(D("1E+9"), D("1E+4"), S19)], "EUR"), "too-large"),
        (lambda: compute([*one, Line(D(1), D(1), Vat("O"))], "EUR"), "mixed-with-outside-vat"),
        (lambda: compute(one, "EUR", adjustments=[Adjustment(D(1), Vat("O"))]), "mixed-with-outside-vat"),
    ):
        with pytest.raises(BadInput) as refused:
            wrong()
        assert refused.value.code == code


def test_trailing_zeros_of_what_was_paid_do_not_matter():
    assert str(compute([Line(D(1), D(5), S19)], "EUR", paid=D("1.0000")).due) == "4.95"


VATS = st.sampled_from([S19, S7, EXEMPT, Vat("Z"), Vat("AE"), Vat("S", D("2.1"))])


@st.composite
def documents(draw):
    currency = draw(st.sampled_from(CURRENCIES))
    unit = minor_unit(currency)
    money = st.integers(-(10**6), 10**6).map(lambda n: unit * n)
    lines = draw(
        st.lists(
            st.builds(
                Line,
                quantity=st.decimals(-1000, 1000, places=3),
                price=st.decimals(0, 10_000, places=5),
                vat=VATS,
                base_quantity=st.sampled_from([D(1), D(3), D(12), D(100), D("0.7")]),
                allowances=money,
                charges=money,
            ),
            max_size=12,
        )
    )
    adjustments = draw(st.lists(st.builds(Adjustment, money, VATS, st.booleans()), max_size=3))
    return lines, currency, {"adjustments": adjustments, "paid": draw(money), "rounding": draw(money)}


@settings(deadline=None)
@given(documents())
def test_everything_adds_up(document):
    lines, currency, rest = document
    t = compute(lines, currency, **rest)
    assert broken_rules(t, rest["adjustments"]) == []
    assert sum((g.taxable for g in t.groups), D(0)) == t.net
    assert sum((g.tax for g in t.groups), D(0)) == t.vat
    for amount in (
        *t.line_nets,
        t.lines,
        t.net,
        t.vat,
        t.gross,
        t.paid,
        t.rounding,
        t.due,
        t.allowances,
        t.charges,
    ):
        assert -amount.as_tuple().exponent == minor_units(currency)


@settings(deadline=None)
@given(documents())
def test_a_counter_document_cancels_to_zero(document):
    lines, currency, rest = document
    counter = [
        dataclasses.replace(x, quantity=-x.quantity, allowances=-x.allowances, charges=-x.charges) for x in lines
    ]
    there = compute(lines, currency, **rest)
    back = compute(
        counter,
        currency,
        adjustments=[dataclasses.replace(a, amount=-a.amount) for a in rest["adjustments"]],
        paid=-rest["paid"],
        rounding=-rest["rounding"],
    )
    assert back.line_nets == tuple(-n for n in there.line_nets)
    assert [(g.vat, -g.taxable, -g.tax) for g in back.groups] == [(g.vat, g.taxable, g.tax) for g in there.groups]
    assert there.due + back.due == 0


@settings(deadline=None)
@given(documents(), st.randoms())
def test_the_order_of_lines_does_not_matter(document, random):
    lines, currency, rest = document
    shuffled = list(lines)
    random.shuffle(shuffled)
    a, b = compute(lines, currency, **rest), compute(shuffled, currency, **rest)
    assert dataclasses.replace(a, line_nets=()) == dataclasses.replace(b, line_nets=())


def test_ten_thousand_lines_are_exact():
    lines = [Line(D(1), D("0.005"), S19)] * 10_000
    totals = compute(lines, "EUR")
    assert (totals.lines, totals.vat) == (D("100.00"), D("19.00"))
