"""Reads of what a card needs and has used."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import DecimalField, ExpressionWrapper, F, QuerySet, Sum

from inventory.reorder.known import Known
from inventory.stock.models import Movement
from jobs.cards.models import JobCard
from shop.kernel.errors import NotFound

from . import outlook, supply
from .models import OPEN_NEED, WORK_LEFT, Draw, DrawEvent, Need, TrayUse
from .supply import Supply

ZERO = Decimal(0)
QTY = DecimalField(max_digits=20, decimal_places=6)


def needs(card_id: int) -> QuerySet[Need]:
    """Open needs of a card with part, stage and what is kept, in stage order."""
    return (
        Need.objects.filter(stage__card_id=card_id, removed_at__isnull=True, stage__removed_at__isnull=True)
        .select_related("part", "stage__card", "reservation")
        .order_by("stage__position", "id")
    )


def draws(card_id: int) -> QuerySet[Draw]:
    """Everything drawn for a card with lot and bin, oldest first."""
    return (
        Draw.objects.filter(card_id=card_id)
        .select_related("part", "stage", "movement__lot", "movement__bin", "by")
        .order_by("id")
    )


def one(pk: int) -> Draw | None:
    """One draw with all that its page tells."""
    rows = Draw.objects.select_related("part", "stage__card__machine", "card", "movement__lot", "movement__bin", "by")
    return rows.filter(pk=pk).first()


def posted_with(pk: int) -> QuerySet[Draw]:
    """A draw and those of the same press from other lots."""
    posting = Draw.objects.filter(pk=pk).values("movement__posting")
    rows = Draw.objects.filter(movement__posting__in=posting).select_related("part", "movement__bin")
    return rows.order_by("id")


def events_of(pk: int) -> QuerySet[DrawEvent]:
    """What happened to a draw, the newest first."""
    return DrawEvent.objects.filter(draw=pk).select_related("by").order_by("-id")


def need(pk: int) -> Need | None:
    rows = Need.objects.select_related("part", "stage__card", "reservation")
    return rows.filter(pk=pk, removed_at__isnull=True).first()


def trays(*, card_id: int | None = None, stage_id: int | None = None, in_use: bool | None = True) -> QuerySet[TrayUse]:
    """Which trays hold the parts of which stage, in the order in which it was noted; `in_use` False: those emptied since."""
    rows = TrayUse.objects.select_related("stage__card", "by", "cleared_by").order_by("id")
    if card_id is not None:
        rows = rows.filter(stage__card=card_id)
    if stage_id is not None:
        rows = rows.filter(stage=stage_id)
    return rows if in_use is None else rows.filter(cleared_at__isnull=in_use)


def tray_use(pk: int) -> TrayUse | None:
    return trays(in_use=None).filter(pk=pk).first()


def trays_of_stages(stage_ids: Collection[int]) -> dict[int, list[TrayUse]]:
    """Trays in use by stage, in one query."""
    found: dict[int, list[TrayUse]] = {}
    for use in TrayUse.objects.filter(stage__in=stage_ids, cleared_at__isnull=True).order_by("id"):
        found.setdefault(use.stage_id, []).append(use)
    return found


def unreturned_trays(card_id: int) -> QuerySet[TrayUse]:
    """Trays that still hold parts of a card: to be brought back and noted as empty before it is billed."""
    return trays(card_id=card_id)


@dataclass(frozen=True)
class Supplied:
    """A need with what it gets."""

    need: Need
    supply: Supply


def supplied(card_id: int) -> list[Supplied]:
    """All that a card still has to draw, in the order of its stages. Raises NotFound."""
    if not JobCard.objects.filter(pk=card_id).exists():
        raise NotFound("There is no such job card.")
    wanted = list(needs(card_id).filter(OPEN_NEED).select_related("stage__card"))
    found = supply.supplies({n.part_id for n in wanted})
    return [Supplied(n, found[n.pk]) for n in wanted if n.pk in found]


def rivals(of: Need) -> list[Supplied]:
    """Who else needs this part here, in the order in which they get it; a need with stage and card at hand."""
    its = supply.situation(of.part_id, of.stage.card.site_id)
    supplied = its.supplies()
    turns = sorted((w for w in its.wants() if w.need_id != of.pk), key=lambda w: w.turn)
    return [Supplied(its.needs[w.need_id], supplied[w.need_id]) for w in turns]


def look_at_move(
    need_id: int, *, from_need_id: int, quantity: Decimal, order_line_id: int | None = None
) -> list[outlook.Effect]:
    """What moving so much from one need to another would do to whom. Raises NotFound, BadInput, as the action does."""
    need_, loser = need(need_id), need(from_need_id)
    if need_ is None or loser is None:
        raise NotFound("There is no such need.")
    its = supply.situation(need_.part_id, need_.stage.card.site_id)
    quantity = outlook.check_move(its, need_, loser, quantity, order_line_id)
    return outlook.of_move(its, need_id, from_need_id, quantity, order_line_id)


def in_hand() -> ExpressionWrapper:
    """Drawn and neither returned, fitted nor spent."""
    return ExpressionWrapper(F("quantity") - F("returned") - F("fitted") - F("spent"), output_field=QTY)


def loose(card_id: int) -> QuerySet[Draw]:
    """Draws of which something still lies at the bench, to be fitted or returned before the card is handed over."""
    return draws(card_id).annotate(left=in_hand()).filter(left__gt=0)


def spoiled(card_id: int) -> dict[tuple[int, int], Decimal]:
    """What we spoiled, which the customer doesn't pay, by stage and part, in the part's unit."""
    rows = DrawEvent.objects.filter(draw__card_id=card_id, kind=DrawEvent.Kind.SPOILED)
    found = rows.order_by().values_list("draw__stage_id", "draw__part_id").annotate(Sum("quantity"))
    return {(stage, part): quantity for stage, part, quantity in found}


def used(card_id: int) -> list[dict]:
    """What the job used, by stage and part.

    Rows: stage_id, part_id, quantity (part's unit: drawn less returned, and less what we spoiled, which the customer
    doesn't pay; a trial fit is part of the work), cost (sum of lot values of all that didn't come back, unrounded).
    """
    ours = spoiled(card_id)
    rows = (
        Draw.objects.filter(card_id=card_id)
        .values("stage_id", "part_id")
        .annotate(drawn=Sum("quantity"), back=Sum("returned"))
        .order_by("stage_id", "part_id")
    )
    costs = cost_by_stage_and_part(card_id)
    return [
        {
            "stage_id": r["stage_id"],
            "part_id": r["part_id"],
            "quantity": left,
            "cost": costs.get((r["stage_id"], r["part_id"]), ZERO),
        }
        for r in rows
        if (left := r["drawn"] - r["back"] - ours.get((r["stage_id"], r["part_id"]), ZERO)) > 0
    ]


def cost_by_stage_and_part(card_id: int) -> dict[tuple[int, int], Decimal]:
    """Value of lots drawn less lots returned, and what a late invoice added to them, by (stage, part). From the movements
    themselves, exactly."""
    costs: dict[tuple[int, int], Decimal] = {}
    for row in Draw.objects.filter(card_id=card_id).values("stage_id", "part_id").annotate(value=Sum("value")):
        costs[row["stage_id"], row["part_id"]] = row["value"]
    returned = (
        DrawEvent.objects.filter(draw__card_id=card_id, movement__isnull=False)
        .values("draw__stage_id", "draw__part_id")
        .annotate(value=Sum("movement__value"))
    )
    for back in returned:
        costs[back["draw__stage_id"], back["draw__part_id"]] -= back["value"]
    later = Draw.objects.filter(card_id=card_id, movement__reversed_by__kind=Movement.Kind.REVALUE)
    for more in later.values("stage_id", "part_id").annotate(value=Sum("movement__reversed_by__value")):
        costs[more["stage_id"], more["part_id"]] -= more["value"]
    return costs


def events(card_id: int) -> QuerySet[DrawEvent]:
    return DrawEvent.objects.filter(draw__card_id=card_id).select_related("draw__part", "draw__stage", "by")


def missing(card_ids: list[int]) -> dict[int, int]:
    """How many needs of each card are neither drawn nor kept in full: what it waits for from the shelf."""
    found: dict[int, int] = {}
    rows = (
        Need.objects.filter(OPEN_NEED, stage__card_id__in=card_ids, stage__finished_at__isnull=True)
        .filter(stage__removed_at__isnull=True, stage__declined_at__isnull=True)
        .values_list("stage__card_id", "quantity", "drawn", "reservation__quantity", "reservation__ended_at")
    )
    for card_id, quantity, drawn, kept, ended in rows:
        if quantity - drawn - (kept if kept and ended is None else ZERO) > 0:
            found[card_id] = found.get(card_id, 0) + 1
    return found


def waited_for() -> QuerySet[Need]:
    """Needs that stages not yet done will draw, with part, stage, card and what is kept. Stages and parts that the customer
    said no to, or hasn't yet said yes to, don't count."""
    rows = Need.objects.filter(OPEN_NEED, WORK_LEFT).exclude(
        stage__needs_go_ahead=True, stage__go_ahead_at__isnull=True
    )
    return rows.select_related("part", "stage__card", "reservation")


def known_demand() -> Iterator[Known]:
    """What stages not yet done will draw beyond what is kept for them, by the day the card was promised; in one query."""
    for part, site, quantity, drawn, kept, ended, promised, number in waited_for().values_list(
        "part_id", "stage__card__site_id", "quantity", "drawn", "reservation__quantity", "reservation__ended_at",
        "stage__card__promised_on", "stage__card__number",
    ):  # fmt: skip
        left = quantity - drawn - (kept if kept and ended is None else ZERO)
        if left > 0:
            yield Known(part, site, left, promised, f"card {number}")
