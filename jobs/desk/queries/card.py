"""One whole card, with what every room knows of it: the same number of queries however many stages, parts and hours."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from jobs.cards import queries as cards
from jobs.cards.queries import Whole
from jobs.draws import lines
from jobs.draws import queries as draws
from jobs.draws.lines import PartLine
from jobs.draws.models import Draw, TrayUse
from jobs.draws.supply import agreed
from jobs.sublet import queries as sublet
from jobs.timebook import queries as hours_room
from jobs.timebook.queries import StageHours
from shop.business import queries as business
from shop.kernel.rounding import round_money

ZERO = Decimal(0)


@dataclass(frozen=True)
class WholeCard:
    whole: Whole
    hours: dict[int, StageHours]
    parts: list[PartLine]
    trays: dict[int, list[TrayUse]] = field(default_factory=dict)  # in use, by stage

    @property
    def worked(self) -> Decimal:
        return sum((h.total for h in self.hours.values()), ZERO)

    @property
    def standard(self) -> Decimal:
        return sum((h.standard for h in self.hours.values()), ZERO)

    @property
    def clocked_on(self) -> list[Any]:
        return [b for h in self.hours.values() for b in h.clocked_on]

    def parts_by_stage(self) -> dict[int, list[PartLine]]:
        found: dict[int, list[PartLine]] = {}
        for line in self.parts:
            found.setdefault(line.stage.pk, []).append(line)
        return found

    @property
    def parts_missing(self) -> list[PartLine]:
        return [p for p in self.parts if p.missing]

    @property
    def parts_short(self) -> list[PartLine]:
        """What is neither kept, free nor on order, and doesn't wait for the customer's go-ahead."""
        return [p for p in self.parts if p.short and agreed(p.stage)]

    @property
    def to_pick(self) -> bool:
        return any(p.to_draw and p.supply for p in self.parts)

    @property
    def can_keep(self) -> bool:
        """Whether something is missing of which some is free."""
        return any(p.free > 0 for p in self.parts_missing)

    @property
    def loose(self) -> list[PartLine]:
        return [p for p in self.parts if p.in_hand > 0]


def whole(card_id: int) -> WholeCard | None:
    found = cards.whole(card_id)
    if found is None:
        return None
    return WholeCard(
        found,
        hours_room.hours_by_stage(found.stages),
        lines.of_card(found.card),
        draws.trays_of_stages([s.pk for s in found.stages]),
    )


@dataclass(frozen=True)
class HandOver:
    """What stands against handing over, and what is merely good to know."""

    clocks: list[Any]
    loose: list[Draw]
    unsigned: list[Any]

    @property
    def ready(self) -> bool:
        return not (self.clocks or self.loose or self.unsigned)


def hand_over(card_id: int) -> HandOver:
    """Running clocks, parts drawn and neither fitted nor returned, gates of started stages that nobody signed."""
    gates = cards.gates(card_id=card_id, unsigned=True).filter(
        stage__removed_at__isnull=True, stage__declined_at__isnull=True, stage__started_at__isnull=False
    )
    return HandOver(list(hours_room.running(card_id=card_id)), list(draws.loose(card_id)), list(gates))


@dataclass(frozen=True)
class Cost:
    """What the card cost the shop so far, before tax: parts by the lots drawn, what outside firms charged, hours at
    their cost (None: not for this reader). `unpriced`: hours of people without a cost per hour."""

    parts: Decimal
    hours: Decimal | None
    unpriced: Decimal
    sent_out: Decimal = ZERO

    @property
    def total(self) -> Decimal:
        return self.parts + self.sent_out + (self.hours or ZERO)


def cost(found: WholeCard, *, hours: bool) -> Cost:
    """`hours`: also what the hours cost."""
    card_id = found.whole.card.pk
    parts = round_money(sum(draws.cost_by_stage_and_part(card_id).values(), ZERO), business.profile().currency)
    spent = hours_room.hours_cost(card_id) if hours else None
    sent_out = sum(sublet.charged(card_id).values(), ZERO)
    return Cost(parts, spent.amount if spent else None, spent.unpriced if spent else ZERO, sent_out)
