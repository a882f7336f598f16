"""What of a card is billed, from what was agreed, done and billed before. Plain values; no table, no clock.

Agreed at a price: as it stands, once its stage is begun. By what was done: the hours booked and the parts used, at the
agreed price. What was done without ever being agreed is set apart with the reason, and nothing is billed twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from jobs.estimates.pricing import FIXED, LABOUR, PART, has_no_hours, share_out

ZERO = Decimal(0)
UNAGREED, NOT_DONE, NOT_CHARGED = "never-agreed", "not-done", "not-chargeable"
NO_STAGE = "no-stage"  # hours agreed by what is done, for no stage that any could be booked on
BY_OWNER = (UNAGREED, NO_STAGE)
"""Left out until the owner says that it is charged."""


@dataclass(frozen=True, slots=True)
class AgreedLine:
    """A line of an estimate with the customer's word. `key` names it; `at` is what was agreed (quantity, price)."""

    key: int
    kind: str
    pricing: str
    quantity: Decimal
    stage: int | None
    part: int | None
    accepted: bool
    declined: bool
    billed: bool  # it stands on an invoice already
    percent: bool = False  # sundries as a percentage of what is billed of the same estimate
    text: str = ""
    of: int | None = None  # the part's line that this charge goes with
    done: Decimal = ZERO  # of it, what stands on invoices already
    minimum: Decimal = ZERO  # hours that the customer was told are billed at least
    estimate: str = ""  # the number of its estimate, the same for all revisions


@dataclass(frozen=True, slots=True)
class StageFacts:
    id: int
    name: str
    begun: bool
    chargeable: bool
    free: bool  # needs no go-ahead, or was agreed as such without an estimate
    minimum: Decimal = ZERO  # hours that its rate bills at least


@dataclass(frozen=True, slots=True)
class Bill:
    """One line to bill: `line` of an estimate, or a stage or part that is on none (`why`)."""

    kind: str
    quantity: Decimal
    line: int | None = None
    stage: int | None = None
    part: int | None = None
    why: str = ""
    of: int | None = None  # of a charge: the part's line that it goes with
    minimum: Decimal = ZERO  # hours were raised to this, for the whole of its stage
    hours: Decimal = ZERO  # what was booked and not billed before, when they were raised


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that is not on the bill, and why: never-agreed, no-stage, not-done, not-chargeable."""

    reason: str
    kind: str
    text: str
    quantity: Decimal
    stage: int | None = None
    part: int | None = None
    line: int | None = None
    unit: str = ""  # set where it is shown


@dataclass(slots=True)
class Result:
    bills: list[Bill] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)


def bill(
    lines: Sequence[AgreedLine],
    stages: Mapping[int, StageFacts],
    hours: Mapping[int, Decimal],
    used: Mapping[tuple[int, int], Decimal],
    billed_hours: Mapping[int, Decimal],
    billed_parts: Mapping[tuple[int | None, int], Decimal],
    names: Mapping[int, str],
) -> Result:
    """Share out what was done over what was agreed.

    hours: booked, by stage; used: drawn less returned, by (stage, part) in the part's unit; billed_*: what stands on
    invoices already (less credits); names: of parts.
    """
    found = Result()
    left_hours = {s: max(ZERO, h - billed_hours.get(s, ZERO)) for s, h in hours.items()}
    left_parts = _unbilled(used, billed_parts)
    yes = [x for x in lines if x.accepted]
    by_key: dict[int, Decimal] = {}
    raised = _share_labour(yes, left_hours, by_key, billed_hours)
    _share_parts(yes, left_parts, by_key)
    for line in lines:
        facts = stages.get(line.stage) if line.stage is not None else None
        begun = facts.begun if facts else True
        if not line.accepted or line.of is not None:
            continue
        if line.percent and line.pricing != FIXED:
            continue
        if line.pricing == FIXED or line.kind not in (LABOUR, PART):
            if line.billed:
                continue
            if begun:
                found.bills.append(Bill(line.kind, line.quantity, line.key, line.stage, line.part))
            else:
                found.left_out.append(_not_done(line, line.quantity))
            continue
        quantity = by_key.get(line.key, ZERO)
        if quantity > 0:
            booked, minimum = raised.get(line.key, (ZERO, ZERO))
            found.bills.append(
                Bill(line.kind, quantity, line.key, line.stage, line.part, minimum=minimum, hours=booked)
            )
        elif not line.billed:
            reason = NO_STAGE if has_no_hours(line.kind, line.pricing, line.stage) else NOT_DONE
            found.left_out.append(_not_done(line, line.quantity, reason))
    found.bills += _charges(found.bills, yes)
    _leftovers(found, lines, stages, left_hours, left_parts, names, billed_hours)
    found.bills += _percentages(found.bills, yes)
    return found


def _percentages(bills: Sequence[Bill], yes: Sequence[AgreedLine]) -> list[Bill]:
    """Each estimate's percentage for sundries, where labour or parts of that estimate are billed: it was agreed on those. What
    is on no estimate goes with the first of them."""
    percents = [x for x in yes if x.percent and x.pricing != FIXED]
    base = [b.line for b in bills if b.kind in (LABOUR, PART)]
    billed = {x.estimate for x in yes if x.key in base}
    found = [x for x in percents if x.estimate in billed] or (percents[:1] if None in base else [])
    return [Bill(x.kind, x.quantity, x.key, x.stage, x.part) for x in found]


def _charges(bills: Sequence[Bill], yes: Sequence[AgreedLine]) -> list[Bill]:
    """What was agreed beside the parts that are billed: as it stands for an agreed price, else for each that is billed now and
    has not been charged for yet."""
    parts = {x.key: x for x in yes if x.kind == PART}
    found = []
    for b in bills:
        for line in yes:
            if b.line is None or line.of != b.line:
                continue
            whole = parts[b.line].done + b.quantity
            if line.pricing == FIXED:
                quantity = ZERO if line.billed else line.quantity
            else:
                quantity = beside(b.quantity, whole, line.done)
            if quantity > 0:
                found.append(Bill(line.kind, quantity, line.key, line.stage, line.part, of=b.line))
    return found


def beside(now: Decimal, whole: Decimal, charged: Decimal) -> Decimal:
    """How many times a charge goes with a part that is billed `now`, and `whole` with what was billed before, of which
    `charged` were charged for."""
    return max(ZERO, min(now, whole - charged))


def _unbilled(
    used: Mapping[tuple[int, int], Decimal], billed: Mapping[tuple[int | None, int], Decimal]
) -> dict[tuple[int, int], Decimal]:
    """What is used and not yet billed. What was billed without naming a stage is taken from wherever the part was used."""
    left = {key: max(ZERO, quantity - billed.get(key, ZERO)) for key, quantity in used.items()}
    for (stage, part), quantity in billed.items():
        if stage is None:
            for key in sorted(k for k in left if k[1] == part):
                take = min(left[key], quantity)
                left[key] -= take
                quantity -= take
    return left


def _share_labour(
    yes: Sequence[AgreedLine], left: dict[int, Decimal], by_key: dict[int, Decimal], billed: Mapping[int, Decimal]
) -> dict[int, tuple[Decimal, Decimal]]:
    """Answers the lines that were raised to a minimum: (hours without it, the minimum), by line."""
    raised = {}
    for stage in sorted(left):
        same = [x for x in yes if x.kind == LABOUR and x.stage == stage]
        open_ = [x for x in same if x.pricing != FIXED]
        if open_:
            for line, quantity in zip(open_, share_out(left[stage], [x.quantity for x in open_]), strict=True):
                by_key[line.key] = quantity
            told = max(open_, key=lambda x: x.minimum)
            more = short_of(told.minimum, left[stage], billed.get(stage, ZERO))
            if more:
                raised[told.key] = (by_key[told.key], told.minimum)
                by_key[told.key] += more
            left[stage] = ZERO
        elif same:
            left[stage] = ZERO  # the agreed price covers all hours of the stage
    return raised


def short_of(minimum: Decimal, now: Decimal, billed: Decimal) -> Decimal:
    """What is missing to the minimum of a stage when `now` is billed after `billed`; nothing when none is billed now. What
    is billed of it counts, so over several invoices the minimum is billed once."""
    return max(ZERO, minimum - billed - now) if now > 0 else ZERO


def _share_parts(yes: Sequence[AgreedLine], left: dict[tuple[int, int], Decimal], by_key: dict[int, Decimal]) -> None:
    wanted = [x for x in yes if x.kind == PART and x.part is not None]
    for stage, part in sorted(left):
        same = [x for x in wanted if x.part == part and x.stage == stage]
        open_ = [x for x in same if x.pricing != FIXED]
        if open_:
            for line, quantity in zip(open_, share_out(left[stage, part], [x.quantity for x in open_]), strict=True):
                by_key[line.key] = by_key.get(line.key, ZERO) + quantity
            left[stage, part] = ZERO
        elif same:
            left[stage, part] = ZERO
    for line in wanted:
        if line.stage is None and line.pricing != FIXED:
            for key in sorted(k for k in left if k[1] == line.part):
                by_key[line.key] = by_key.get(line.key, ZERO) + left[key]
                left[key] = ZERO


def _leftovers(
    found: Result,
    lines: Sequence[AgreedLine],
    stages: Mapping[int, StageFacts],
    hours: Mapping[int, Decimal],
    parts: Mapping[tuple[int, int], Decimal],
    names: Mapping[int, str],
    billed: Mapping[int, Decimal],
) -> None:
    """What was done beyond every agreed line: billed when the stage needs no go-ahead, else set apart."""
    refused = {(x.kind, x.stage, x.part) for x in lines if x.declined}
    estimated = {x.stage for x in lines if x.accepted and x.stage is not None}
    rest: list[tuple[str, int, int | None, Decimal]] = [
        (LABOUR, s, None, q) for s, q in sorted(hours.items()) if q > 0
    ] + [(PART, s, p, q) for (s, p), q in sorted(parts.items()) if q > 0]
    for kind, stage, part, quantity in rest:
        facts = stages[stage]
        text = names.get(part, "") if part is not None else facts.name
        if not facts.chargeable:
            found.left_out.append(LeftOut(NOT_CHARGED, kind, text, quantity, stage, part))
        elif facts.free and stage not in estimated and (kind, stage, part) not in refused:
            more = short_of(facts.minimum, quantity, billed.get(stage, ZERO)) if kind == LABOUR else ZERO
            minimum = facts.minimum if more else ZERO
            found.bills.append(
                Bill(kind, quantity + more, None, stage, part, why="own-rule", minimum=minimum, hours=quantity)
            )
        else:
            found.left_out.append(LeftOut(UNAGREED, kind, text, quantity, stage, part))


def _not_done(line: AgreedLine, quantity: Decimal, reason: str = NOT_DONE) -> LeftOut:
    return LeftOut(reason, line.kind, line.text, quantity, line.stage, line.part, line.key)


def state(
    *, issued: bool, credit: bool, due: Decimal, paid: Decimal, credited: Decimal, taken_back: Decimal, overdue: bool
) -> str:
    """The one word for an invoice. `paid`, `credited`: allocated to it from payments and from credit notes; `taken_back`: what
    credit notes come to, also where it was paid before."""
    if not issued:
        return "draft"
    if credit:
        return "credit"
    left = due - paid - credited
    if left <= 0:
        return "credited" if max(credited, taken_back) >= due > 0 else "paid"
    if overdue:
        return "overdue"
    return "part-paid" if paid or credited else "issued"
