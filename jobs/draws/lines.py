"""The parts of a card or stage as a person reads them: what is needed, kept, drawn, fitted and left in hand, in one line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from inventory.parts.models import Part
from inventory.stock import queries as shelf
from jobs.cards.models import JobCard, Stage

from . import queries
from .models import Draw, Need
from .supply import Supply, kept_for, supplies

ZERO = Decimal(0)


@dataclass(frozen=True)
class PartLine:
    """A part on a stage: what is needed (0 when nobody asked for it beforehand), kept on the shelf, drawn less returned,
    fitted, spent, and in hand at the bench. All in the part's unit. `free`: what is free on the shelf now, whoever gets it;
    `supply`: what it gets of that and of what is coming."""

    stage: Stage
    part: Part
    need: Need | None
    draws: tuple[Draw, ...]
    free: Decimal
    supply: Supply | None = None  # of what is left to draw, while the card is open

    @property
    def needed(self) -> Decimal:
        return self.need.quantity if self.need else ZERO

    @property
    def kept(self) -> Decimal:
        return kept_for(self.need) if self.need else ZERO

    @property
    def drawn(self) -> Decimal:
        return sum((d.quantity - d.returned for d in self.draws), ZERO)

    @property
    def in_all(self) -> Decimal:
        """What is drawn in the end: what is needed, and what was drawn before anybody asked for it."""
        return self.needed + self.drawn - self.need.drawn if self.need else self.drawn

    @property
    def fitted(self) -> Decimal:
        return sum((d.fitted for d in self.draws), ZERO)

    @property
    def spent(self) -> Decimal:
        return sum((d.spent for d in self.draws), ZERO)

    @property
    def in_hand(self) -> Decimal:
        return self.drawn - self.fitted - self.spent

    @property
    def declined(self) -> bool:
        """The customer said no to it."""
        return self.need is not None and self.need.declined_at is not None

    @property
    def to_draw(self) -> Decimal:
        """Needed and not yet drawn; nothing once the stage is finished or the customer declined the part."""
        if self.need is None or self.stage.finished_at or self.declined:
            return ZERO
        return max(self.needed - self.need.drawn, ZERO)

    @property
    def to_offer(self) -> Decimal:
        """How much a draw most likely takes."""
        return self.to_draw or Decimal(1)

    @property
    def in_hand_rows(self) -> list[Draw]:
        return [d for d in self.draws if d.quantity > d.returned + d.fitted + d.spent]

    @property
    def missing(self) -> Decimal:
        """Needed, neither drawn nor kept."""
        return max(self.to_draw - self.kept, ZERO)

    @property
    def coming(self) -> Decimal:
        """What it gets of orders."""
        return self.supply.on_order if self.supply else ZERO

    @property
    def short(self) -> Decimal:
        """Missing, neither free on the shelf nor coming."""
        return self.supply.short if self.supply else max(self.missing - self.free, ZERO)


def of_card(card: JobCard) -> list[PartLine]:
    """The parts of all stages of a card, in their order; seven queries however many there are."""
    return together(queries.needs(card.pk), queries.draws(card.pk), card.site_id)


def of_stage(stage: Stage) -> list[PartLine]:
    """The parts of one stage."""
    needs = queries.needs(stage.card_id).filter(stage=stage.pk)
    return together(needs, queries.draws(stage.card_id).filter(stage=stage.pk), stage.card.site_id)


def together(needs: Iterable[Need], drawn: Iterable[Draw], site_id: int) -> list[PartLine]:
    """Needs and draws put together by stage and part, in the order of the stages."""
    wanted = {(n.stage_id, n.part_id): n for n in needs}
    taken: dict[tuple[int, int], list[Draw]] = {}
    for row in drawn:
        taken.setdefault((row.stage_id, row.part_id), []).append(row)
    free = shelf.free_by_part({part for _, part in wanted})
    lacking = {n.part_id for n in wanted.values() if n.quantity > n.drawn and not n.declined_at}
    supplied = supplies(lacking, free)
    found = []
    for at in dict.fromkeys([*wanted, *taken]):
        need, rows = wanted.get(at), tuple(taken.get(at, ()))
        some = need or rows[0]
        found.append(
            PartLine(
                some.stage,
                some.part,
                need,
                rows,
                free.get((at[1], site_id), ZERO),
                supplied.get(need.pk) if need else None,
            )
        )
    return sorted(found, key=lambda p: (p.stage.position, p.part.number))
