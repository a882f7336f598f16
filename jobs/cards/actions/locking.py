"""The one lock of this room: the card's row. Whoever changes a card, its stages, gates or holds takes it first, so that
what is checked still holds when it is written. Several cards: in the order of their ids."""

from __future__ import annotations

from collections.abc import Collection

from shop.kernel.errors import NotFound, Refused, Stale

from ..models import Gate, JobCard, Stage


def lock_card(card_id: int, expect: int | None = None) -> JobCard:
    """Lock card `card_id`, at version `expect` if given. Raises NotFound, Stale."""
    # NO KEY UPDATE: rows that only name the card (hours, trail, draws) may still be inserted by others
    rows = JobCard.objects.select_for_update(of=("self",), no_key=True)
    card = rows.filter(pk=card_id).first()
    if card is None:
        raise NotFound("There is no such job card.")
    _same_version(card, expect, f"card {card.number}")
    return card


def lock_stage(stage_id: int, expect: int | None = None) -> Stage:
    """Lock the card of stage `stage_id` and read the stage as it is now. Raises NotFound, Stale."""
    card_id = Stage.objects.filter(pk=stage_id).values_list("card_id", flat=True).first()
    if card_id is None:
        raise NotFound("There is no such stage.")
    card = lock_card(card_id)
    stage = Stage.objects.get(pk=stage_id)
    stage.card = card
    _same_version(stage, expect, called(stage))
    return stage


def lock_stages(stage_ids: Collection[int]) -> list[Stage]:
    """Lock the cards of these stages and read the stages, in the order of their ids. Raises NotFound when one is
    missing."""
    wanted = set(stage_ids)
    pairs = Stage.objects.filter(pk__in=wanted).values_list("card_id", flat=True)
    cards = {pk: lock_card(pk) for pk in sorted(set(pairs))}
    stages = list(Stage.objects.filter(pk__in=wanted).order_by("pk"))
    if len(stages) != len(wanted):
        raise NotFound("There is no such stage.")
    for stage in stages:
        stage.card = cards[stage.card_id]
    return stages


def lock_gate(gate_id: int) -> Gate:
    """Lock the card of gate `gate_id` and read the gate and its stage as they are now. Raises NotFound."""
    stage_id = Gate.objects.filter(pk=gate_id, removed_at__isnull=True).values_list("stage_id", flat=True).first()
    if stage_id is None:
        raise NotFound("There is no such gate.")
    stage = lock_stage(stage_id)
    gate = Gate.objects.select_related("signed_by").filter(pk=gate_id, removed_at__isnull=True).first()
    if gate is None:
        raise NotFound("There is no such gate.")
    gate.stage = stage
    return gate


def _same_version(row: JobCard | Stage, expect: int | None, name: str) -> None:
    if expect is not None and row.version != expect:
        raise Stale(
            f"Somebody saved {name} while you were working on it. Look at what changed and save again.",
            current=row.version,
        )


def called(stage: Stage) -> str:
    """How messages and the history name a stage."""
    return f"stage {stage.position} “{stage.name}”"


def capital(words: str) -> str:
    """At the start of a sentence; the rest keeps its case."""
    return words[:1].upper() + words[1:]


def must_be_open(card: JobCard) -> None:
    """Raises Refused when the card has been finished, handed over or cancelled."""
    if card.cancelled_at:
        raise Refused(f"Card {card.number} was cancelled. Open a new card for more work.", code="card-closed")
    if card.handed_over_at:
        raise Refused(f"Card {card.number} has been handed over. Open a new card for more work.", code="card-closed")
    if card.finished_at:
        raise Refused(
            f"Card {card.number} is finished. If work is left, the office reopens it first.", code="card-finished"
        )


def must_be_in_shop(card: JobCard) -> None:
    """Raises Refused unless the machine is here and the card is open."""
    must_be_open(card)
    if card.arrived_at is None:
        raise Refused(
            f"Card {card.number} is only booked: the machine isn't here yet. Note its arrival on the card first.",
            code="not-arrived",
        )


def must_be_current(stage: Stage) -> None:
    """Raises Refused when the stage was removed, declined or finished."""
    if stage.removed_at:
        raise Refused(f"{capital(called(stage))} was taken off card {stage.card.number}.", code="stage-removed")
    if stage.finished_at:
        raise Refused(f"{capital(called(stage))} is finished.", code="stage-finished")
    if stage.declined_at:
        raise Refused(
            f"The customer declined {called(stage)}. It can only go on after a new go-ahead.", code="stage-declined"
        )
