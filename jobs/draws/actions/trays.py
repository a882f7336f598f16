"""Kit trays: "all parts for stage 3 are in tray 12", until it is empty."""

from __future__ import annotations

from collections.abc import Collection

from jobs.cards.actions.locking import called, must_be_current, must_be_open
from jobs.cards.models import Stage
from jobs.draws.models import Draw, Tray, TrayUse
from jobs.draws.queries import in_hand
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused
from shop.kernel.folding import fold
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .locking import hold_cards, open_stage


@writes
def put_in_tray(stage_id: int, *, by: Person, number: str, shared: bool = False) -> TrayUse:
    """The parts for a stage are in tray `number`. Said again it changes nothing. `shared`: although the parts for another
    stage are in it, as the person knows.

    Raises NotFound, BadInput (number), Refused (card closed, stage over, "tray-in-use" with the stages in it).
    """
    number = clean_line(number, field="number", required=True, max_length=20)
    stage = _held(stage_id)
    must_be_open(stage.card)
    must_be_current(stage)
    tray = _held_tray(stage.card.site_id, fold(number))
    there = list(
        TrayUse.objects.filter(tray=tray, cleared_at__isnull=True).select_related("stage__card").order_by("id")
    )
    own = next((use for use in there if use.stage_id == stage.pk), None)
    if own is not None:
        return own
    if there and not shared:
        said = "; ".join(f"{called(use.stage)} of card {use.stage.card.number}" for use in there[:3])
        raise Refused(
            f"Tray {number} holds the parts for {said}. Take another tray, note that one as empty first, or say that they "
            "share it.",
            code="tray-in-use",
            stage_ids=[use.stage_id for use in there],
        )
    use = TrayUse.objects.create(tray=tray, stage=stage, called=number, since=clock.now(), by=by)
    record(by, "tray.filled", use, root=stage.card, tray=number, stage=called(stage))
    return use


@writes
def clear_tray(use_id: int, *, by: Person) -> TrayUse:
    """Nothing for the stage is in the tray any more. Also after the card was closed. Raises NotFound."""
    stage_id = TrayUse.objects.filter(pk=use_id).values_list("stage_id", flat=True).first()
    if stage_id is None:
        raise NotFound("There is no such note of a tray.")
    stage = Stage.objects.select_related("card").get(pk=stage_id)
    hold_cards([stage.card_id])
    use = TrayUse.objects.get(pk=use_id)
    use.stage = stage
    if use.cleared_at is None:
        _clear(use, by)
    return use


def clear_emptied(stages: Collection[Stage], by: Person | None) -> None:
    """Trays of stages that are finished and of which nothing is in hand any more are empty."""
    done = [s.pk for s in stages if s.finished_at]
    if not done:
        return
    uses = list(TrayUse.objects.filter(stage__in=done, cleared_at__isnull=True).select_related("stage__card"))
    if not uses:
        return
    left = Draw.objects.filter(stage__in=done).annotate(left=in_hand()).filter(left__gt=0)
    full = set(left.values_list("stage_id", flat=True))
    for use in uses:
        if use.stage_id not in full:
            _clear(use, by)


def _clear(use: TrayUse, by: Person | None) -> None:
    use.cleared_at, use.cleared_by = clock.now(), by
    use.save(update_fields=["cleared_at", "cleared_by"])
    record(by, "tray.emptied", use, root=use.stage.card, tray=use.called, stage=called(use.stage))


def _held(stage_id: int) -> Stage:
    stage = open_stage(stage_id)
    hold_cards([stage.card_id])
    return open_stage(stage_id)


def _held_tray(site_id: int, number: str) -> Tray:
    """The tray, made when it is new, locked: who notes the same one waits and then sees what is in it."""
    Tray.objects.bulk_create([Tray(site_id=site_id, number=number)], ignore_conflicts=True)
    return Tray.objects.select_for_update(no_key=True).get(site_id=site_id, number=number)
