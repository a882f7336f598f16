"""Where a lot went, and what went into a machine. One query each."""

from __future__ import annotations

from django.db.models import F, QuerySet

from inventory.stock import queries as stock

from .models import Draw


def went_to(lot_id: int, *, whole_batch: bool = True) -> QuerySet[Draw]:
    """Draws that took from this lot, from what was opened or broken out of it, and (`whole_batch`) from other lots of the
    same supplier's batch, less what came back unused: each with card, machine, customer and lot."""
    lots = stock.same_goods(lot_id, whole_batch=whole_batch).values("pk")
    return _told(Draw.objects.filter(movement__lot__in=lots)).order_by("id")


def went_into(machine_id: int) -> QuerySet[Draw]:
    """Draws for every card of a machine, less what came back unused: each with its lot."""
    return _told(Draw.objects.filter(card__machine_id=machine_id)).order_by("-id")


def traces(*, lot_id: int | None = None, machine_id: int | None = None) -> QuerySet[Draw]:
    """Both, for the API; all draws when neither is named."""
    rows = _told(Draw.objects.all())
    if lot_id is not None:
        rows = rows.filter(movement__lot__in=stock.same_goods(lot_id).values("pk"))
    return rows if machine_id is None else rows.filter(card__machine_id=machine_id)


def _told(rows: QuerySet[Draw]) -> QuerySet[Draw]:
    return rows.filter(quantity__gt=F("returned")).annotate(kept=F("quantity") - F("returned")).select_related(
        "part", "stage", "card__machine", "card__customer", "movement__lot"
    )  # fmt: skip
