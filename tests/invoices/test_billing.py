"""What is billed, from what was agreed and done."""

from decimal import Decimal as D

import pytest

from jobs.invoices.billing import AgreedLine, LeftOut, StageFacts, bill, state


def line(
    key, kind="labour", quantity="2", stage=1, part=None, pricing="as-done", word=True, billed=False, percent=False
):
    return AgreedLine(
        key, kind, pricing, D(quantity), stage, part, accepted=word is True, declined=word is False, billed=billed,
        percent=percent, text=f"line {key}",
    )  # fmt: skip


def stages(**more):
    facts = {"begun": True, "chargeable": True, "free": False} | more
    return {n: StageFacts(n, f"Stage {n}", **facts) for n in (1, 2)}


def run(lines, hours=(), used=(), billed_hours=(), billed_parts=(), **more):
    found = bill(
        lines, stages(**more), {k: D(v) for k, v in dict(hours).items()}, {k: D(v) for k, v in dict(used).items()},
        {k: D(v) for k, v in dict(billed_hours).items()}, {k: D(v) for k, v in dict(billed_parts).items()}, {7: "GKT-041"},
    )  # fmt: skip
    return (
        [(b.line, b.kind, str(b.quantity), b.why) for b in found.bills],
        [(x.reason, x.kind, str(x.quantity)) for x in found.left_out],
    )


@pytest.mark.parametrize(
    ("lines", "done", "billed", "left_out"),
    [
        pytest.param([line(1)], {"hours": {1: "3"}}, [(1, "labour", "3", "")], [], id="hours booked, more than estimated"),
        pytest.param([line(1)], {}, [], [("not-done", "labour", "2")], id="nothing booked"),
        pytest.param(
            [line(1, pricing="fixed")], {"hours": {1: "9"}}, [(1, "labour", "2", "")], [], id="a firm price covers all hours"
        ),
        pytest.param(
            [line(1, pricing="fixed")], {"begun": False}, [], [("not-done", "labour", "2")], id="firm, not begun"
        ),
        pytest.param([line(1, pricing="fixed", billed=True)], {"hours": {1: "9"}}, [], [], id="firm, billed before"),
        pytest.param(
            [line(1)], {"hours": {1: "5"}, "billed_hours": {1: "3"}}, [(1, "labour", "2", "")], [], id="hours billed before"
        ),
        pytest.param([line(1, billed=True)], {"hours": {1: "3"}, "billed_hours": {1: "3"}}, [], [], id="all billed"),
        pytest.param(
            [line(1), line(2, quantity="1")], {"hours": {1: "5"}},
            [(1, "labour", "2", ""), (2, "labour", "3", "")], [], id="two lines of a stage share its hours",
        ),
        pytest.param([line(1, word=False)], {"hours": {1: "3"}}, [], [("never-agreed", "labour", "3")], id="declined"),
        pytest.param([line(1, word=None)], {"hours": {1: "3"}}, [], [("never-agreed", "labour", "3")], id="open"),
        pytest.param([], {"hours": {1: "3"}}, [], [("never-agreed", "labour", "3")], id="on no estimate"),
        pytest.param([], {"hours": {1: "3"}, "free": True}, [(None, "labour", "3", "own-rule")], [], id="needs no go-ahead"),
        pytest.param(
            [], {"hours": {1: "3"}, "chargeable": False}, [], [("not-chargeable", "labour", "3")], id="not chargeable"
        ),
        pytest.param(
            [line(1), line(2, "part", part=7)], {"hours": {1: "2"}, "used": {(1, 7): "3"}},
            [(1, "labour", "2", ""), (2, "part", "3", "")], [], id="parts used",
        ),
        pytest.param(
            [line(1)], {"hours": {1: "2"}, "used": {(1, 7): "3"}},
            [(1, "labour", "2", "")], [("never-agreed", "part", "3")], id="a part nobody agreed to",
        ),
        pytest.param(
            [line(2, "part", stage=None, part=7)], {"used": {(1, 7): "1", (2, 7): "2"}},
            [(2, "part", "3", "")], [], id="a part named without a stage",
        ),
        pytest.param(
            [line(2, "part", stage=None, part=7)], {"used": {(1, 7): "1", (2, 7): "2"}, "billed_parts": {(None, 7): "2"}},
            [(2, "part", "1", "")], [], id="and billed before",
        ),
        pytest.param([line(1, "sublet", "1")], {}, [(1, "sublet", "1", "")], [], id="work sent out"),
        pytest.param(
            [line(1), line(3, "sundry", "1", None, percent=True)], {"hours": {1: "1"}},
            [(1, "labour", "1", ""), (3, "sundry", "1", "")], [], id="a percentage goes with what is billed",
        ),
        pytest.param([line(3, "sundry", "1", None, percent=True)], {}, [], [], id="a percentage of nothing"),
    ],
)  # fmt: skip
def test_what_is_billed(lines, done, billed, left_out):
    assert run(lines, **done) == (billed, left_out)


def test_what_is_left_out_names_it():
    found = bill([], stages(), {1: D(2)}, {(2, 7): D(1)}, {}, {}, {7: "GKT-041"})
    assert found.left_out == [
        LeftOut("never-agreed", "labour", "Stage 1", D(2), 1, None),
        LeftOut("never-agreed", "part", "GKT-041", D(1), 2, 7),
    ]


@pytest.mark.parametrize(
    ("facts", "word"),
    [
        ({"issued": False}, "draft"),
        ({}, "issued"),
        ({"overdue": True}, "overdue"),
        ({"paid": D(40)}, "part-paid"),
        ({"paid": D(40), "overdue": True}, "overdue"),
        ({"paid": D(100), "overdue": True}, "paid"),
        ({"credited": D(100)}, "credited"),
        ({"credited": D(60), "paid": D(40)}, "paid"),
        ({"credited": D(60), "paid": D(40), "taken_back": D(60)}, "paid"),
        ({"paid": D(100), "taken_back": D(100)}, "credited"),
        ({"due": D(0)}, "paid"),
        ({"credit": True}, "credit"),
    ],
)
def test_the_one_word_for_an_invoice(facts, word):
    known = {
        "issued": True, "credit": False, "due": D(100), "paid": D(0), "credited": D(0), "taken_back": D(0), "overdue": False,
    }  # fmt: skip
    assert state(**(known | facts)) == word
