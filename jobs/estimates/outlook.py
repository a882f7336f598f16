"""How far an estimate may go: a likely (P50) and a careful (P80) figure for hours and for price, net of tax.

Labour charged by what is done varies as the shop's own bookings say (jobs.learning), never below a minimum that the
estimate names; what is agreed at a price or known (parts, sublet work, hours booked already) is certain; optional work counts
with its chance from history (`options`). The figures are those of the distribution of the whole, not sums of the figures of
its lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from jobs.learning import hours, sums
from jobs.learning import queries as learning
from jobs.learning.hours import Learned
from jobs.learning.sums import Certain, Portion
from shop.kernel.rounding import minor_unit

from . import options as optional
from . import pricing
from .models import Estimate, EstimateLine, LineKind

HUNDRED = Decimal(100)
DONE = frozenset({"booked", "minimum-booked", "used", "credited"})  # a line's quantity that is known already
RAISED = frozenset({"minimum", "minimum-hand"})  # to the minimum of its rate; `basis["hours"]` says from what
BY_HAND = frozenset({"hand", "minimum-hand"})


@dataclass(frozen=True, slots=True)
class Outlook:
    """Hours and price net of tax that half (likely) and four in five (careful) of such jobs stay below."""

    likely_hours: Decimal
    careful_hours: Decimal
    likely: Decimal
    careful: Decimal
    jobs: int  # finished stages of our own behind it
    options: int  # optional pieces of work that count with their chance


def of(estimate: Estimate, lines: Sequence[EstimateLine]) -> Outlook | None:
    """None when nothing of it varies: every price is agreed or known. `lines` with their stages."""
    learned = learning.of_stages({x.stage for x in lines if x.stage})
    names, chances = optional.named(lines), optional.chances(estimate.card_id, lines)
    left = 1 - estimate.discount_percent / HUNDRED
    percent = sum((Decimal(x.basis["percent"]) for x in lines if _follows(x)), Decimal(0))
    times: list[Portion] = []
    prices: list[Portion] = []
    known_hours: list[Certain] = []
    known: list[Certain] = []
    cents = pricing.total(lines, estimate.currency, estimate.discount_percent).net
    options: dict[str, Decimal] = {}
    behind = 0
    for line in lines:
        if _follows(line):
            continue
        option = names.get(line.pk)
        if option:
            options[option] = chances.get(option, hours.chance(0, 0))
        more = 1 + percent / HUNDRED if line.kind in (LineKind.LABOUR, LineKind.PART) else Decimal(1)
        amount = line.net * (left if pricing.takes_discount(line) else Decimal(1)) * more
        if not option:
            cents -= amount
        if line.kind != LineKind.LABOUR:
            known.append(Certain(amount, option))
            continue
        found = learned.get(line.stage_id or 0)
        if line.basis.get("quantity") in DONE or line.quantity <= 0:
            known.append(Certain(amount, option))
            known_hours.append(Certain(line.quantity, option))
            continue
        middle, spread = varies(line, found)
        behind += found.jobs if found else 0
        times.append(Portion(middle, spread, option=option))
        if line.pricing == EstimateLine.Pricing.FIXED:
            known.append(Certain(amount, option))
        else:
            least = float(line.quantity) if line.basis.get("quantity") in RAISED else 0.0
            prices.append(Portion(middle, spread, float(amount / line.quantity), option, least))
    if not times and not options:
        return None
    known.append(Certain(cents))  # the document rounds its discount and sundries: what is agreed comes to its own total
    kept, known, known_hours, prices, times = few_options(options, known, known_hours, prices, times)
    together = learning.together()
    spent = sums.of_sum(times, known_hours, _used(kept, times, known_hours), together=together)
    price = sums.of_sum(
        prices, known, _used(kept, prices, known), together=together, places=minor_unit(estimate.currency)
    )
    return Outlook(spent.likely, spent.careful, price.likely, price.careful, behind, len(options))


def _follows(line: EstimateLine) -> bool:
    """Sundries as a percentage of labour and parts: they vary with those."""
    return line.basis.get("price") == "percent" and not line.optional


def varies(line: EstimateLine, found: Learned | None) -> tuple[float, float]:
    """Mean and spread of the logarithm of a line's hours. Hours set by hand are taken as the middle; standard hours move by
    what was learnt of the stage, beside what its plan said when the card copied it. A minimum is billed, not worked: there the
    hours are those that stand behind it."""
    own = math.log(worked(line))
    if found is None:
        return own, hours.posterior([])[1]
    if line.basis.get("quantity") in BY_HAND:
        return own, found.spread
    return own + found.middle - math.log(found.standard), found.spread


def worked(line: EstimateLine) -> Decimal:
    """The hours a line stands for, above 0: of one raised to a minimum those it was raised from."""
    if line.basis.get("quantity") not in RAISED:
        return line.quantity
    return Decimal(line.basis["hours"]) or line.quantity


def few_options(
    options: dict[str, Decimal], known: list[Certain], known_hours: list[Certain], prices: list[Portion],
    times: list[Portion],
) -> tuple[dict[str, Decimal], list[Certain], list[Certain], list[Portion], list[Portion]]:  # fmt: skip
    """Keep the options that weigh most; the others go in by their mean, since each doubles the ways it may turn out."""
    if len(options) <= sums.MOST_OPTIONS:
        return options, known, known_hours, prices, times
    worth = {name: Decimal(0) for name in options}
    for c in known:
        if c.option:
            worth[c.option] += c.amount
    for p in prices:
        if p.option:
            worth[p.option] += _mean(p)
    kept = set(sorted(worth, key=lambda name: (-worth[name], name))[: sums.MOST_OPTIONS])

    def by_mean(certain: list[Certain], portions: list[Portion]) -> tuple[list[Certain], list[Portion]]:
        small = [Certain(options[p.option] * _mean(p)) for p in portions if p.option and p.option not in kept]
        sure = [
            c if not c.option or c.option in kept else Certain(c.amount * options[c.option]) for c in certain
        ]  # fmt: skip
        return sure + small, [p for p in portions if not p.option or p.option in kept]

    known, prices = by_mean(known, prices)
    known_hours, times = by_mean(known_hours, times)
    return {k: v for k, v in options.items() if k in kept}, known, known_hours, prices, times


def _mean(p: Portion) -> Decimal:
    return Decimal(repr(p.mean))


def _used(options: dict[str, Decimal], portions: Sequence[Portion], certain: Sequence[Certain]) -> dict[str, Decimal]:
    named = {p.option for p in portions} | {c.option for c in certain}
    return {name: chance for name, chance in options.items() if name in named}


def kept(found: Outlook | None) -> dict[str, Any]:
    """As it is kept with an issued estimate."""
    return {} if found is None else {k: str(v) if isinstance(v, Decimal) else v for k, v in asdict(found).items()}


def read(stored: dict[str, Any]) -> Outlook | None:
    """What was kept."""
    if not stored:
        return None
    figures = {k: Decimal(v) if isinstance(v, str) else v for k, v in stored.items()}
    return Outlook(**figures)  # type: ignore[arg-type]


def standing(estimate: Estimate, lines: Sequence[EstimateLine]) -> Outlook | None:
    """As issued; of a draft, as it would be now."""
    return read(estimate.outlook) if estimate.issued_at else of(estimate, lines)
