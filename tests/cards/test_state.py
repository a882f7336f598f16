"""What a card and a stage are called in every combination of what is known of them."""

from datetime import date
from itertools import product

import pytest

from jobs.cards.models import Hold
from jobs.cards.state import (
    CLOSED_STAGES,
    HOLD_WAITS,
    CardFacts,
    CardState,
    StageFacts,
    StageState,
    Waiting,
    card_state,
    late_by,
    late_words,
    numbered,
    out_of_order,
    stage_state,
    stage_words,
    waiting,
)

READY = StageFacts(1, "Strip", needs_go_ahead=False)
FLAGS = ("removed", "finished", "declined", "started", "chargeable", "needs_go_ahead", "go_ahead")


def expected(s: StageFacts, in_shop: bool, card_hold: str) -> StageState:
    """The order of what binds most, written as a list instead of code."""
    rules = [
        (s.removed, StageState.REMOVED),
        (s.finished, StageState.FINISHED),
        (s.declined, StageState.DECLINED),
        (bool(s.hold), StageState.HELD),
        (bool(card_hold) and in_shop, StageState.HELD),
        (s.started, StageState.RUNNING),
        (not in_shop, StageState.TO_DO),
        (s.chargeable and s.needs_go_ahead and not s.go_ahead, StageState.WAITS_GO_AHEAD),
        (bool(s.waits_after), StageState.WAITS_STAGE),
        (bool(s.unsigned_first), StageState.SIGN_FIRST),
    ]
    return next((state for holds, state in rules if holds), StageState.CAN_START)


def test_every_combination_of_a_stage():
    seen = set()
    for flags in product((False, True), repeat=len(FLAGS)):
        for hold, after, gates, in_shop, card_hold in product(
            ("", "parts"), ((), (2,)), ((), ("Ports covered",)), (True, False), ("", "tool")
        ):
            facts = StageFacts(
                3, hold=hold, waits_after=after, unsigned_first=gates, **dict(zip(FLAGS, flags, strict=True))
            )
            state = stage_state(facts, in_shop=in_shop, card_hold=card_hold)
            assert state is expected(facts, in_shop, card_hold), facts
            assert stage_words(facts, in_shop=in_shop, card_hold=card_hold)
            seen.add(state)
    assert seen == set(StageState)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (READY, "Can start"),
        (StageFacts(3, waits_after=(2,), needs_go_ahead=False), "Waits for stage 2"),
        (StageFacts(3), "Waits for the customer's go-ahead"),
        (StageFacts(3, chargeable=False), "Can start"),
        (StageFacts(3, go_ahead=True, unsigned_first=("Ports covered", "Clean")), "Sign first: Ports covered; Clean"),
        (StageFacts(3, started=True), "In hand"),
        (StageFacts(3, started=True, hold="parts"), "On hold: parts"),
        (StageFacts(3, hold="other", hold_note="the crane"), "On hold: the crane"),
        (StageFacts(3, started=True, declined=True), "Declined by the customer"),
    ],
)
def test_a_stage_in_words(facts, words):
    assert stage_words(facts) == words


def test_a_held_card_says_so_on_its_stages():
    said = stage_words(READY, card_hold="sublet", card_hold_note="bores at the grinder's")
    assert said == "Card on hold: sublet work (bores at the grinder's)"


@pytest.mark.parametrize(("arrived", "finished", "handed_over", "cancelled"), list(product((False, True), repeat=4)))
def test_every_combination_of_a_card(arrived, finished, handed_over, cancelled):
    state = card_state(CardFacts(arrived, finished, handed_over, cancelled))
    if cancelled:
        assert state is CardState.CANCELLED
    elif handed_over:
        assert state is CardState.HANDED_OVER
    elif finished:
        assert state is CardState.FINISHED
    else:
        assert state is (CardState.IN_SHOP if arrived else CardState.BOOKED)


DONE = StageFacts(1, started=True, finished=True)
NO = StageFacts(9, declined=True)


@pytest.mark.parametrize(
    ("card", "waits"),
    [
        (CardFacts(cancelled=True, hold="parts"), Waiting()),
        (CardFacts(finished=True, handed_over=True), Waiting()),
        (CardFacts(finished=True), Waiting("hand-over", "office")),
        (CardFacts(arrived=False), Waiting("the machine to come in", "customer")),
        (CardFacts(arrived=False, hold="parts"), Waiting("parts", "stores")),
        (CardFacts(hold="go-ahead", stages=[READY]), Waiting("the customer's go-ahead", "customer")),
        (CardFacts(hold="sublet", hold_note="at the grinder's"), Waiting("sublet work (at the grinder's)", "outside")),
        (CardFacts(), Waiting("its stages to be written", "office")),
        (CardFacts(stages=[StageFacts(1, removed=True)]), Waiting("its stages to be written", "office")),
        (CardFacts(stages=[DONE, NO]), Waiting("the office to finish it", "office")),
        (CardFacts(stages=[READY, StageFacts(2, hold="parts")]), Waiting()),
        (CardFacts(stages=[StageFacts(1, started=True), StageFacts(2)]), Waiting()),
        (CardFacts(stages=[DONE, StageFacts(2)]), Waiting("the customer's go-ahead", "customer")),
        (CardFacts(stages=[StageFacts(1, started=True, hold="tool"), StageFacts(2)]), Waiting("a tool", "shop")),
        (
            CardFacts(stages=[StageFacts(1, hold="parts"), StageFacts(2, hold="manual"), StageFacts(3, hold="parts")]),
            Waiting("parts; a question to the maker's manual", "stores"),
        ),
        (
            CardFacts(stages=[StageFacts(1, go_ahead=True, unsigned_first=("Ports covered",))]),
            Waiting("a signature: Ports covered", "mechanic"),
        ),
    ],
)
def test_what_a_card_waits_for(card, waits):
    assert waiting(card) == waits
    assert bool(waiting(card)) is bool(waits.what)


def test_every_reason_of_a_hold_has_its_words():
    assert set(HOLD_WAITS) == set(Hold.Reason.values)
    assert {StageState.FINISHED, StageState.DECLINED, StageState.REMOVED} == CLOSED_STAGES


@pytest.mark.parametrize(
    ("card", "days"),
    [
        (CardFacts(promised_on=date(2026, 11, 24)), 1),
        (CardFacts(promised_on=date(2026, 11, 25)), 0),
        (CardFacts(promised_on=date(2026, 12, 1)), 0),
        (CardFacts(), 0),
        (CardFacts(arrived=False, promised_on=date(2025, 11, 25)), 365),
        (CardFacts(finished=True, promised_on=date(2026, 11, 1)), 0),
        (CardFacts(cancelled=True, promised_on=date(2026, 11, 1)), 0),
    ],
)
def test_late(card, days):
    assert late_by(card, date(2026, 11, 25)) == days


def test_small_words():
    assert [late_words(n) for n in (0, 1, 2)] == ["", "Late by 1 day", "Late by 2 days"]
    assert [numbered(p) for p in ([2], [3, 2], [5, 2, 3])] == ["stage 2", "stages 2 and 3", "stages 2, 3 and 5"]


def test_predecessors_stand_before():
    assert out_of_order({1: 1, 2: 2, 3: 3}, {3: [1, 2], 2: [1]}) is None
    assert out_of_order({1: 2, 2: 1}, {2: [1]}) == (2, 1)
    assert out_of_order({1: 1}, {1: [1]}) == (1, 1)
    assert out_of_order({1: 1}, {1: [99], 99: [1]}) is None
