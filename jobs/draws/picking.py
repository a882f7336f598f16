"""What to fetch for a card: which lot from which bin, in the order of the walk."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from inventory.parts.models import Part
from inventory.stock import queries as shelf
from inventory.stock.choosing import Place, take, walking
from jobs.cards.models import JobCard, Stage

from . import lines, queries
from .lines import PartLine
from .models import TrayUse
from .supply import agreed

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Pick:
    """So much of one lot out of one bin, for one stage; trays that its stage's parts are in."""

    bin_id: int
    bin: str
    lot_id: int
    lot: str
    use_by: date | None
    part: Part
    quantity: Decimal
    stage: Stage
    trays: tuple[TrayUse, ...]


@dataclass(frozen=True)
class PickingList:
    """`lacking`: what the shelf doesn't give. `waiting`: what isn't fetched before the customer's go-ahead."""

    card: JobCard
    picks: list[Pick]
    lacking: list[PartLine]
    waiting: list[PartLine]


def picking_list(card: JobCard) -> PickingList:
    """What is kept for a card or free for it, to be fetched for stages that may take parts: lots by the rule of drawing (first
    to expire first, else the oldest), bins in the order of the walk. Nine queries however many parts."""
    wanted = [x for x in lines.of_card(card) if x.to_draw and x.supply]
    now = [x for x in wanted if agreed(x.stage)]
    trays = queries.trays_of_stages({x.stage.pk for x in now})
    lying = shelf.usable_places({x.part.pk for x in now}, card.site_id)
    picks, lacking = [], []
    for x in now:
        there = lying.get(x.part.pk, [])
        most = min(x.supply.kept + x.supply.free if x.supply else ZERO, sum((p.on_hand for p in there), ZERO))
        taken = take(there, most) if most > 0 else []
        lying[x.part.pk] = _without(there, taken)
        picks += [
            Pick(p.bin_id, p.bin, p.lot_id, p.lot, p.expires_on, x.part, q, x.stage, tuple(trays.get(x.stage.pk, ())))
            for p, q in taken
        ]
        if most < x.to_draw:
            lacking.append(x)
    picks.sort(key=lambda p: (walking(p.bin), p.part.number, p.lot, p.stage.position))
    return PickingList(card, picks, lacking, [x for x in wanted if not agreed(x.stage)])


def _without(there: list[Place], taken: list[tuple[Place, Decimal]]) -> list[Place]:
    """What another stage of the card can still take."""
    gone = {p.balance_id: q for p, q in taken}
    left = [replace(p, on_hand=p.on_hand - gone.get(p.balance_id, ZERO)) for p in there]
    return [p for p in left if p.on_hand > 0]
