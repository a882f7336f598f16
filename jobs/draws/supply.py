"""What needs get: kept, free on the shelf, coming with an order, or nothing. Worked out from what is there now."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from inventory.buying import queries as buying
from inventory.stock import queries as shelf
from jobs.cards.models import Stage

from .allotting import Allotted, Awaited, Said, Want, allot
from .models import OPEN_NEED, WORK_LEFT, Need, Promise

ZERO = Decimal(0)
Place = tuple[int, int]  # part, site


@dataclass(frozen=True, slots=True)
class Line:
    """An order line that brings some of a part. `order`: its number, "" while it is a draft to `supplier`."""

    pk: int
    order_id: int
    order: str
    supplier: str
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Share:
    """So much of an order line, for one need."""

    line: Line
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Supply:
    """What becomes of a need that isn't drawn yet, in the part's unit: they add up to what is left to draw."""

    kept: Decimal
    free: Decimal
    coming: tuple[Share, ...]
    short: Decimal

    @property
    def left(self) -> Decimal:
        return self.kept + self.free + self.on_order + self.short

    @property
    def on_order(self) -> Decimal:
        return sum((s.quantity for s in self.coming), ZERO)

    @property
    def sure(self) -> bool:
        """Every order of it was sent and names a day."""
        return not self.short and all(s.line.order and s.line.due_on for s in self.coming)

    @property
    def by(self) -> date | None:
        """The day by which all of it is there, when orders keep their days; None: it is there, or nobody knows."""
        return max((s.line.due_on for s in self.coming if s.line.due_on), default=None) if self.sure else None

    def of(self, line_id: int | None) -> Decimal:
        """What it has of an order line; None: of the shelf."""
        if line_id is None:
            return self.kept
        return sum((s.quantity for s in self.coming if s.line.pk == line_id), ZERO)


@dataclass
class Situation:
    """One part at one site: who needs it, what is free, what comes, what was said."""

    needs: dict[int, Need] = field(default_factory=dict)
    kept: dict[int, Decimal] = field(default_factory=dict)
    free: Decimal = ZERO
    awaited: dict[int, Awaited] = field(default_factory=dict)
    lines: dict[int, Line] = field(default_factory=dict)
    said: list[Said] = field(default_factory=list)

    def wants(self) -> list[Want]:
        return [want_of(need, self.kept[pk]) for pk, need in self.needs.items()]

    def allotted(self) -> dict[int, Allotted]:
        return allot(self.wants(), self.free, self.awaited.values(), self.said)

    def supplies(self) -> dict[int, Supply]:
        return {
            pk: Supply(
                min(self.kept[pk], self.needs[pk].quantity - self.needs[pk].drawn), its.free,
                tuple(Share(self.lines[line], quantity) for line, quantity in its.coming), its.short,
            )
            for pk, its in self.allotted().items()
        }  # fmt: skip


def want_of(need: Need, kept: Decimal) -> Want:
    """A need with its stage and card at hand."""
    stage, card = need.stage, need.stage.card
    missing = max(need.quantity - need.drawn - kept, ZERO)
    return Want(need.pk, missing, card.promised_on, card.pk, label_of(card.number), agreed(stage))


def agreed(stage: Stage) -> bool:
    """Parts may be drawn for it: the customer said yes, or isn't asked."""
    return not (stage.chargeable and stage.needs_go_ahead and stage.go_ahead_at is None)


def label_of(number: str) -> str:
    """How stock and orders name a card."""
    return f"card {number}"


def kept_for(need: Need) -> Decimal:
    """What is kept on the shelf for a need (with its reservation at hand)."""
    held = need.reservation
    return held.quantity if held is not None and held.ended_at is None else ZERO


def open_needs(part_ids: Collection[int]) -> list[Need]:
    """What cards that are open still need of these parts."""
    rows = Need.objects.filter(OPEN_NEED, WORK_LEFT, part__in=part_ids)
    return list(rows.select_related("part", "reservation", "stage__card").order_by("id"))


def situations(part_ids: Collection[int], free: dict[Place, Decimal] | None = None) -> dict[Place, Situation]:
    """Of all that open cards need of these parts, by part and site; in five queries however many (three when what is free is
    given)."""
    wanted = set(part_ids)
    found: dict[Place, Situation] = {}
    if not wanted:
        return found
    for need in open_needs(wanted):
        its = found.setdefault((need.part_id, need.stage.card.site_id), Situation())
        its.needs[need.pk], its.kept[need.pk] = need, kept_for(need)
    if not found:
        return found
    for at, quantity in (shelf.free_by_part(wanted) if free is None else free).items():
        if at in found:
            found[at].free = quantity
    for x in buying.coming(wanted):
        at = (x.part_id, x.site_id)
        if at in found:
            found[at].awaited[x.line_id] = Awaited(x.line_id, x.quantity, x.due_on, x.label)
            found[at].lines[x.line_id] = Line(x.line_id, x.order_id, x.order, x.supplier, x.due_on)
    for promise in _promises(pk for its in found.values() for pk in its.needs):
        need, line = promise.need, promise.order_line
        its = found[need.part_id, need.stage.card.site_id]
        if line.order.sent_at is None:
            its.awaited[line.pk] = Awaited(line.pk, line.quantity, None, line.label, sent=False)
            its.lines[line.pk] = Line(line.pk, line.order_id, "", line.order.supplier.name, None)
        its.said.append(Said(need.pk, line.pk, promise.quantity))
    return found


def situation(part_id: int, site_id: int) -> Situation:
    return situations({part_id}).get((part_id, site_id)) or Situation()


def supplies(part_ids: Collection[int], free: dict[Place, Decimal] | None = None) -> dict[int, Supply]:
    """What every open need of these parts gets, by need."""
    return {pk: its for at in situations(part_ids, free).values() for pk, its in at.supplies().items()}


def _promises(need_ids: Iterable[int]) -> list[Promise]:
    rows = Promise.objects.filter(need__in=list(need_ids)).select_related(
        "need__stage__card", "order_line__order__supplier"
    )
    return list(rows.order_by("id"))
