"""Movements of stock as postings, and where the cost of a card's parts stands. The ledger knows parts and lots; that a
movement was for a card, and how far that is, is told by the draw."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import F, QuerySet

from inventory.buying.models import SentBack
from inventory.stock.models import Movement
from jobs.cards.models import JobCard

from . import journal

DRAWS = {"drawn": "draw", "back": "reverses__draw"}


class Ends(NamedTuple):
    """Moments of a card by which the cost of its parts moves on."""

    invoiced_at: datetime | None
    unbilled_at: datetime | None
    cancelled_at: datetime | None


def movements() -> QuerySet[Any]:
    """But for transfers: what goes from one bin to another stays stock. Read flat, since a month has thousands: of the draw
    (`drawn`) and of the draw that is taken back (`back`), the moments of its card."""
    rows = Movement.objects.exclude(kind=Movement.Kind.TRANSFER).exclude(value=0)
    beside = {"number": "part__number", "currency": "lot__currency", "undone": "reverses__kind"}
    for name, path in DRAWS.items():
        beside |= {name: f"{path}__id"} | {f"{name}_{end}": f"{path}__card__{end}" for end in Ends._fields}
    wanted = rows.only("at", "kind", "value", "label", "reason", "lot_id", "reverses_id")
    return wanted.annotate(**{name: F(path) for name, path in beside.items()})


def _ends_of(row: Any) -> Ends | None:
    """Of the card that a movement was drawn for, or was taken back from; None when it was for none."""
    for name in DRAWS:
        if getattr(row, name) is not None:
            return Ends(*(getattr(row, f"{name}_{end}") for end in Ends._fields))
    return None


def stands(card: JobCard | Ends, moment: datetime) -> str:
    """Where the cost of a card's parts, and of what was sent out for it, stands at a moment."""
    ends = [(at, to) for at, to in ((card.invoiced_at, "cost-of-sales"), (card.cancelled_at, "cancelled-work")) if at]
    first = min(ends, default=None)
    if first is not None and moment > first[0]:
        return first[1]
    return "unbilled-work" if card.unbilled_at is not None and moment > card.unbilled_at else "work-in-progress"


def of_movements(rows: list[Any]) -> list[tuple[journal.Line, ...] | None]:
    scrap = Movement.Kind.SCRAP
    scrapped = {x.pk for x in rows if x.kind == scrap} | {x.reverses_id for x in rows if x.undone == scrap}
    sent = set(SentBack.objects.filter(movement__in=scrapped).values_list("movement", flat=True)) if scrapped else set()

    def kind(pk: int | None, kind: str | None) -> str:
        return "sent-back" if pk in sent else kind or ""

    found: list[tuple[journal.Line, ...] | None] = []
    for row in rows:
        ends, undone = _ends_of(row), kind(row.reverses_id, row.undone)
        found.append(journal.moved(kind(row.pk, row.kind), row.value, stands(ends, row.at) if ends else "", undone))
    return found


def head_of_movement(row: Any) -> tuple[str, str, str, tuple[str, int]]:
    said = row.label or row.reason
    what = f"{row.get_kind_display()}, {row.number}" + (f", {said}" if said else "")
    return f"M-{row.pk}", what, row.currency, ("lot", row.lot_id)


def costs_of_cards(cards: QuerySet[Any] | Iterable[int], before: datetime | None = None) -> dict[int, list[Any]]:
    """(moment, value with the sign of cost) of all that was drawn for these cards and came back, by card."""
    found: dict[int, list[Any]] = {}
    for path in ("draw__card", "reverses__draw__card"):
        rows = Movement.objects.filter(**{f"{path}__in": cards})
        if before is not None:
            rows = rows.filter(at__lt=before)
        for card, at, value in rows.values_list(path, "at", "value"):
            found.setdefault(card, []).append((at, -value))
    return found
