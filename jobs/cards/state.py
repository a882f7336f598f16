"""What a card and its stages are, and what they wait for: words from plain values. Nothing here is stored."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class CardState(StrEnum):
    BOOKED = "booked"
    IN_SHOP = "in-shop"
    FINISHED = "finished"
    HANDED_OVER = "handed-over"
    CANCELLED = "cancelled"


class StageState(StrEnum):
    TO_DO = "to-do"  # the machine isn't here
    WAITS_STAGE = "waits-stage"
    WAITS_GO_AHEAD = "waits-go-ahead"
    SIGN_FIRST = "sign-first"
    CAN_START = "can-start"
    RUNNING = "running"
    HELD = "held"
    FINISHED = "finished"
    DECLINED = "declined"
    REMOVED = "removed"


CLOSED_STAGES = frozenset({StageState.FINISHED, StageState.DECLINED, StageState.REMOVED})

CARD_WORDS: Mapping[CardState, str] = {
    CardState.BOOKED: "Booked",
    CardState.IN_SHOP: "In the shop",
    CardState.FINISHED: "Finished",
    CardState.HANDED_OVER: "Handed over",
    CardState.CANCELLED: "Cancelled",
}

# What a hold waits for, and whose move it is. The keys are Hold.Reason.
HOLD_WAITS: Mapping[str, tuple[str, str]] = {
    "go-ahead": ("the customer's go-ahead", "customer"),
    "parts": ("parts", "stores"),
    "sublet": ("sublet work", "outside"),
    "tool": ("a tool", "shop"),
    "manual": ("a question to the maker's manual", "shop"),
    "other": ("something else", "shop"),
}


@dataclass(frozen=True)
class StageFacts:
    """What is known of one stage. `waits_after`: positions of predecessors not yet finished; `unsigned_first`: texts of
    start-gates not yet signed; `hold`: a Hold.Reason or "" when it isn't held."""

    position: int
    name: str = ""
    chargeable: bool = True
    needs_go_ahead: bool = True
    go_ahead: bool = False
    declined: bool = False
    started: bool = False
    finished: bool = False
    removed: bool = False
    hold: str = ""
    hold_note: str = ""
    waits_after: Sequence[int] = ()
    unsigned_first: Sequence[str] = ()


@dataclass(frozen=True)
class CardFacts:
    arrived: bool = True
    finished: bool = False
    handed_over: bool = False
    cancelled: bool = False
    promised_on: date | None = None
    hold: str = ""
    hold_note: str = ""
    stages: Sequence[StageFacts] = ()


@dataclass(frozen=True)
class Waiting:
    """What a card waits for, and whose move it is: customer, office, mechanic, stores, outside, shop; both "" when work
    can go on or nothing is left to do."""

    what: str = ""
    who: str = ""

    def __bool__(self) -> bool:
        return bool(self.what)


def card_state(card: CardFacts) -> CardState:
    if card.cancelled:
        return CardState.CANCELLED
    if card.handed_over:
        return CardState.HANDED_OVER
    if card.finished:
        return CardState.FINISHED
    return CardState.IN_SHOP if card.arrived else CardState.BOOKED


def lacks_go_ahead(stage: StageFacts) -> bool:
    """Whether the stage is chargeable work that the customer hasn't agreed to and that may not start without it."""
    return stage.chargeable and stage.needs_go_ahead and not stage.go_ahead


def stage_state(stage: StageFacts, *, in_shop: bool = True, card_hold: str = "") -> StageState:
    """The one state of a stage, by what binds it most. `card_hold`: the hold of the whole card, if any."""
    if stage.removed:
        return StageState.REMOVED
    if stage.finished:
        return StageState.FINISHED
    if stage.declined:
        return StageState.DECLINED
    if stage.hold or (card_hold and in_shop):
        return StageState.HELD
    if stage.started:
        return StageState.RUNNING
    if not in_shop:
        return StageState.TO_DO
    if lacks_go_ahead(stage):
        return StageState.WAITS_GO_AHEAD
    if stage.waits_after:
        return StageState.WAITS_STAGE
    if stage.unsigned_first:
        return StageState.SIGN_FIRST
    return StageState.CAN_START


def stage_words(stage: StageFacts, *, in_shop: bool = True, card_hold: str = "", card_hold_note: str = "") -> str:
    """The state of a stage as a person reads it."""
    state = stage_state(stage, in_shop=in_shop, card_hold=card_hold)
    if state is StageState.HELD:
        if stage.hold:
            return "On hold: " + hold_words(stage.hold, stage.hold_note)
        return "Card on hold: " + hold_words(card_hold, card_hold_note)
    if state is StageState.WAITS_STAGE:
        return f"Waits for {numbered(stage.waits_after)}"
    if state is StageState.SIGN_FIRST:
        return "Sign first: " + "; ".join(stage.unsigned_first)
    return {
        StageState.REMOVED: "Removed",
        StageState.FINISHED: "Finished",
        StageState.DECLINED: "Declined by the customer",
        StageState.RUNNING: "In hand",
        StageState.TO_DO: "To do",
        StageState.WAITS_GO_AHEAD: "Waits for the customer's go-ahead",
        StageState.CAN_START: "Can start",
    }[state]


def hold_words(reason: str, note: str = "") -> str:
    """Why something stands still. "Something else" is said by its note."""
    what, _ = HOLD_WAITS[reason]
    if not note:
        return what
    return note if reason == "other" else f"{what} ({note})"


def numbered(positions: Sequence[int]) -> str:
    """ "stage 2", "stages 2 and 3", "stages 2, 3 and 5"."""
    listed = [str(p) for p in sorted(positions)]
    if len(listed) == 1:
        return f"stage {listed[0]}"
    return f"stages {', '.join(listed[:-1])} and {listed[-1]}"


def waiting(card: CardFacts) -> Waiting:
    """What the card waits for. As long as one stage runs or can start it waits for nothing."""
    state = card_state(card)
    if state in (CardState.CANCELLED, CardState.HANDED_OVER):
        return Waiting()
    if state is CardState.FINISHED:
        return Waiting("hand-over", "office")
    if card.hold:
        return Waiting(hold_words(card.hold, card.hold_note), HOLD_WAITS[card.hold][1])
    if state is CardState.BOOKED:
        return Waiting("the machine to come in", "customer")
    states = [(s, stage_state(s)) for s in card.stages]
    left = [(s, st) for s, st in states if st not in CLOSED_STAGES]
    if not left:
        some = any(st is not StageState.REMOVED for _, st in states)
        return Waiting("the office to finish it", "office") if some else Waiting("its stages to be written", "office")
    if any(st in (StageState.RUNNING, StageState.CAN_START) for _, st in left):
        return Waiting()
    held = [s for s, st in left if st is StageState.HELD]
    if held:
        words = dict.fromkeys(hold_words(s.hold, s.hold_note) for s in held)
        return Waiting("; ".join(words), HOLD_WAITS[held[0].hold][1])
    if any(st is StageState.SIGN_FIRST for _, st in left):
        stage = next(s for s, st in left if st is StageState.SIGN_FIRST)
        return Waiting("a signature: " + "; ".join(stage.unsigned_first), "mechanic")
    if any(st is StageState.WAITS_GO_AHEAD for _, st in left):
        return Waiting("the customer's go-ahead", "customer")
    # only circular predecessors are left; the actions refuse to make them
    return Waiting("its stages to be put in order", "office")


def late_by(card: CardFacts, today: date) -> int:
    """By how many days the promised date is past while the work isn't finished; 0 when it isn't late."""
    if card.promised_on is None or card.finished or card.handed_over or card.cancelled:
        return 0
    return max(0, (today - card.promised_on).days)


def late_words(days: int) -> str:
    if not days:
        return ""
    return "Late by 1 day" if days == 1 else f"Late by {days} days"


def out_of_order(positions: Mapping[int, int], after: Mapping[int, Collection[int]]) -> tuple[int, int] | None:
    """The first (stage, predecessor) whose predecessor doesn't stand before it, or None.

    `positions`: stage id to position; `after`: stage id to the ids of its predecessors. Since every predecessor stands
    before its stage there can be no circle.
    """
    for stage in sorted(after, key=lambda s: positions.get(s, 0)):
        for predecessor in sorted(after[stage], key=lambda s: positions.get(s, 0)):
            if stage in positions and predecessor in positions and positions[predecessor] >= positions[stage]:
                return stage, predecessor
    return None
