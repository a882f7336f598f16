"""Works out what to order: reads the shop, asks the statistics, and says of each part below its level what and why.

Nothing is written here; `actions.keep_run` does. Loaded only when proposals are worked out, as it needs numpy.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

import numpy as np

from shop.kernel import clock
from shop.kernel.units import unit

from . import demand, levels, quantity, words
from .gathering import Shop, read
from .quantity import Break, Terms, Wish
from .rules import Rule
from .supply import Source

ZERO: Final = Decimal(0)
DAYS_A_MONTH: Final = 30.4375
PROMISED: Final = ((2, 60), (3, 25), (4, 15))  # halves of a promised lead time and how often: promises slip
UNFORESEEN: Final = 0.25  # of the usual demand comes though nobody announced it
Pair = tuple[int, int]  # part, site


@dataclass(frozen=True)
class Draft:
    """A proposal before it is kept."""

    part_id: int
    site_id: int
    supplier_id: int | None
    quantity: Decimal
    price: Decimal | None
    reason: str
    figures: dict[str, Any]


@dataclass
class Worked:
    """What came of it: proposals, the most urgent first."""

    months: int
    looked_at: int
    left_out: int
    drafts: list[Draft]


def work_out() -> Worked:
    """All proposals of the shop as things stand. Reads in a constant number of statements and some for each five thousand
    parts."""
    shop = read()
    drafts: list[tuple[Decimal, Wish, Draft]] = []
    left_out = 0
    for found in _blocks(shop):
        for row in found:
            if (shop.pairs[row.at]) in shop.quiet:
                left_out += 1
            elif draft := _draft(shop, row):
                drafts.append(draft)
            else:
                left_out += 1
    drafts.sort(key=lambda one: (-one[0], one[2].part_id, one[2].site_id))
    granted = quantity.within(shop.budget, [wish for _, wish, _ in drafts])
    kept: list[Draft] = []
    for amount, (_, _, each) in zip(granted, drafts, strict=True):
        if amount == each.quantity:
            kept.append(each)
        elif amount > 0:
            kept.append(_smaller(each, amount, shop.parts[each.part_id]["unit"]))
        else:
            left_out += 1
    return Worked(shop.months, len(shop.pairs), left_out, kept)


# --- one block of parts -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A part below its level, with what the statistics say of it; amounts in the part's unit as Decimals."""

    at: int
    rule: Rule
    days: list[tuple[int, int]]
    observed: bool
    level: Decimal
    position: Decimal
    soon: Decimal  # of the known demand, before the next delivery
    coming: Decimal
    lost: Decimal  # on hand, but too old before it can be used
    rate: Decimal  # a month
    risk: Decimal  # percent
    words: dict[str, Any]


def _blocks(shop: Shop) -> Iterator[list[Row]]:
    """The rows below their level, block by block."""
    if not shop.pairs:
        return
    rules = [shop.rule(part) for part, _ in shop.pairs]
    days = [_days(rule, shop.sources.get(part)) for rule, (part, _) in zip(rules, shop.pairs, strict=True)]
    widest = max(len(d) for d, _ in days)
    months, weights = np.zeros((len(days), widest)), np.zeros((len(days), widest))
    for n, ((scenarios, _), rule) in enumerate(zip(days, rules, strict=True)):
        total = sum(weight for _, weight in scenarios)
        for k, (lead, weight) in enumerate(scenarios):
            months[n, k] = (lead + rule.review_days) / DAYS_A_MONTH
            weights[n, k] = weight / total
    today = clock.today()
    waits = [max(lead for lead, _ in d) + rule.review_days for (d, _), rule in zip(days, rules, strict=True)]
    soon = [
        _sum(shop.known.get(p, ()), today + timedelta(w), "wanted_on") for p, w in zip(shop.pairs, waits, strict=True)
    ]
    arriving = [
        _sum(shop.coming.get(p, ()), today + timedelta(w), "due_on") for p, w in zip(shop.pairs, waits, strict=True)
    ]
    usual = shop.history[:, -12:].mean(1)
    share = _share(soon, usual, (months * weights).sum(1))
    lost = [_lost(shop.fading.get(p, ()), today, w, u) for p, w, u in zip(shop.pairs, waits, usual, strict=True)]
    zero = ZERO
    position = [
        shop.on_hand.get(p, zero) - shop.reserved.get(p, zero) + c - s - f
        for p, c, s, f in zip(shop.pairs, arriving, soon, lost, strict=True)
    ]
    service = np.array([rule.service_percent for rule in rules], dtype=np.float64) / 100
    whole = np.array([unit(shop.parts[part]["unit"]).whole for part, _ in shop.pairs])
    groups = np.array([shop.kinds[shop.parts[p]["kind"], shop.parts[p]["unit"]] for p, _ in shop.pairs])
    stock = np.array(position, dtype=np.float64)
    stocked = np.array([not rule.for_cards_only for rule in rules])
    for found in levels.of(shop.history, months, weights, service, whole, share, groups):
        first = found.rows.start
        level = np.where(stocked[found.rows], found.level, 0)
        short = found.curve.short(np.maximum(stock[found.rows], -1))
        block = []
        for k in range(len(level)):
            n = first + k
            part = shop.parts[shop.pairs[n][0]]
            by_hand = part["reorder_point"]
            exact = _exact(level[k], part["unit"])
            low = position[n] < exact or position[n] < 0 or (by_hand is not None and position[n] <= by_hand)
            if low:
                block.append(
                    Row(
                        n,
                        rules[n],
                        days[n][0],
                        days[n][1],
                        exact,
                        position[n],
                        soon[n],
                        arriving[n],
                        lost[n],
                        _decimal(found.rate[k]),
                        _decimal(100 * short[k], 1),
                        _told(found, k, share[n]),
                    )
                )
        yield block


def _days(rule: Rule, source: Source | None) -> tuple[list[tuple[int, int]], bool]:
    """Lead times that may come true with their weights, and whether they were observed."""
    if source and source.observed:
        return list(source.days), True
    promised = source.days[0][0] if source and source.days else rule.lead_days
    return [(-(-promised * halves // 2), weight) for halves, weight in PROMISED], False


def _sum(rows: Any, until: date, name: str) -> Decimal:
    """What of it falls before the next delivery; what has no day counts."""
    return sum((row.quantity for row in rows if (day := getattr(row, name)) is None or day <= until), ZERO)


def _share(soon: list[Decimal], usual: Any, wait: Any) -> Any:
    """Which share of the usual demand is still to be expected when so much of it is known."""
    known = np.array(soon, dtype=np.float64)
    expected = np.maximum(usual * wait, 1e-9)
    return np.where(known > 0, np.clip(1 - known / expected, UNFORESEEN, 1), 1)


def _lost(fading: Any, today: date, wait: int, usual: Any) -> Decimal:
    """Of what expires before the next delivery, as much as the usual demand won't have used by then."""
    lost = ZERO
    for day, there in fading:
        if day < today + timedelta(wait):
            lost += max(there - _decimal(usual * ((day - today).days + 1) / DAYS_A_MONTH), ZERO)
    return lost


def _told(found: levels.Levels, k: int, share: Any) -> dict[str, Any]:
    method = demand.METHODS[int(found.told.method[k])]
    return {
        "class": demand.CLASSES[int(found.kinds[k])],
        "interval": f"{found.interval[k]:.2f}" if np.isfinite(found.interval[k]) else "",
        "variation": f"{found.variation[k]:.2f}",
        "method": method,
        "smoothing": f"{demand.SMOOTHING[int(found.told.constant[k])]:.1f}",
        "tried": found.told.tried,
        "error": f"{found.told.error[k]:.2f}",
        "unforeseen_percent": f"{100 * share:.0f}",
    }


def _decimal(value: Any, places: int = 6) -> Decimal:
    """An estimate as a Decimal."""
    return Decimal(f"{value:.{places}f}")


def _exact(value: Any, code: str) -> Decimal:
    """A level as the unit is counted, rounded up."""
    return quantity.up(_decimal(value, 4), _step(code))


def _step(code: str) -> Decimal:
    """The finest quantity that is ordered: a piece, or a thousandth at most."""
    return Decimal(1).scaleb(-min(unit(code).decimals, 3))


def _round(code: str, about: Decimal) -> Decimal:
    """The step in which an order of about so much is rounded: a piece, or two figures of what is measured."""
    return _step(code) if unit(code).whole else max(_step(code), Decimal(1).scaleb(about.adjusted() - 1))


# --- one proposal -------------------------------------------------------------------------------------


def _draft(shop: Shop, row: Row) -> tuple[Decimal, Wish, Draft] | None:
    """What to order of a part below its level; None where not even the smallest order would be used up."""
    part_id, site_id = pair = shop.pairs[row.at]
    part, source, step = shop.parts[part_id], shop.sources.get(part_id), _step(shop.parts[part_id]["unit"])
    by_hand = part["reorder_point"]
    target = row.level
    if by_hand is not None and row.position <= by_hand:
        target = max(target, by_hand + step)
    cost = shop.costs.get(part_id)
    breaks = source.breaks if source and source.breaks else [Break(ZERO, cost)] if cost is not None else []
    about = quantity.up(target - row.position, step)
    terms = Terms(
        breaks, row.rule.order_cost, row.rule.holding_percent, source.pack if source else ZERO,
        source.least if source else ZERO,
        _round(part["unit"], about), part["unit"], shop.currency,
    )  # fmt: skip
    most = None
    if life := part["shelf_life_days"]:
        most = row.rate * life / Decimal(str(DAYS_A_MONTH)) - row.position
    stocked = not row.rule.for_cards_only and target > 0
    yearly = row.rate * 12 if stocked else ZERO
    amount = quantity.amount(target - row.position, yearly, terms, most)
    bare = quantity.amount(target - row.position, ZERO, terms, most).quantity
    if amount.quantity <= 0:
        return None
    figures = _figures(shop, row, amount, by_hand)
    wait = max(lead for lead, _ in row.days) + row.rule.review_days
    figures["wait_days"] = wait
    reason = words.sentence(amount.quantity, part["unit"], figures)
    urgency = row.risk / 100 + (1 if row.position < 0 else 0)
    price = amount.price if breaks else None
    draft = Draft(part_id, site_id, source.supplier_id if source else None, amount.quantity, price, reason, figures)
    assert pair == (draft.part_id, draft.site_id)  # noqa: S101
    return urgency, Wish(urgency, amount.quantity, min(bare, amount.quantity), amount.price), draft


def _figures(shop: Shop, row: Row, amount: quantity.Amount, by_hand: Decimal | None) -> dict[str, Any]:
    pair = shop.pairs[row.at]
    today = clock.today()

    def text(value: Decimal) -> str:
        return f"{value.normalize():f}" if value else "0"

    def dated(rows: Any, name: str) -> list[dict[str, Any]]:
        days = [(getattr(r, name) or today, r) for r in rows]
        return [
            {"on": day.isoformat(), "quantity": text(r.quantity), "what": r.label}
            for day, r in sorted(days, key=lambda one: (one[0], one[1].label))
        ]

    return {
        "on_hand": text(shop.on_hand.get(pair, ZERO)),
        "reserved": text(shop.reserved.get(pair, ZERO)),
        "coming": text(row.coming),
        "known": text(row.soon),
        "too_old": text(row.lost),
        "position": text(row.position),
        "level": text(row.level),
        "by_hand": "" if by_hand is None or row.position > by_hand or row.position < row.level else text(by_hand),
        "service_percent": text(row.rule.service_percent),
        "risk_percent": text(row.risk),
        "monthly": text(row.rate.quantize(Decimal("0.001"))),
        "lead_days": [list(one) for one in row.days],
        "lead_observed": row.observed,
        "review_days": row.rule.review_days,
        "economic": text(amount.economic.quantize(Decimal("0.1"))),
        "order_cost": text(row.rule.order_cost),
        "holding_percent": text(row.rule.holding_percent),
        "reasons": amount.reasons,
        "history": [text(_decimal(value, 3)) for value in shop.history[row.at]],
        "comes": dated(shop.coming.get(pair, ()), "due_on"),
        "goes": dated(shop.known.get(pair, ()), "wanted_on"),
        "as_of": today.isoformat(),
    } | row.words


def _smaller(draft: Draft, amount: Decimal, code: str) -> Draft:
    """The same with less, as the money doesn't last for more."""
    figures: Mapping[str, Any] = draft.figures | {
        "reasons": [*draft.figures["reasons"], "the money set aside lasts for no more"]
    }
    return Draft(
        draft.part_id, draft.site_id, draft.supplier_id, amount, draft.price,
        words.sentence(amount, code, figures), dict(figures),
    )  # fmt: skip
