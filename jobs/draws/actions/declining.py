"""The customer's no, and a later yes, to parts of a stage, as the estimates room hands it down."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from jobs.cards.actions.locking import called
from jobs.draws.models import Need
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .needs import let_go_of

Pair = tuple[int, int]  # stage, part


@writes
def decline_parts(pairs: Collection[Pair], *, ref: str, at: datetime, by: Person | None) -> list[Need]:
    """The customer said no to these parts of these stages: what is kept for them goes back to the shelf, and they aren't
    drawn any more. What was drawn before stays drawn. `ref` names the document, `by` is None when they answered by link."""
    ref = clean_line(ref, field="ref", required=True, max_length=80)
    found = []
    for need in _needs(pairs):
        let_go_of(need, by)
        save_next(need, declined_at=at, declined_ref=ref)
        record(
            by, "need.declined", need, root=need.stage.card, part=need.part.number, stage=called(need.stage), ref=ref
        )
        found.append(need)
    return found


@writes
def want_parts_again(pairs: Collection[Pair], *, ref: str, by: Person | None) -> list[Need]:
    """The customer said yes to these parts: an earlier no counts no longer. `ref` names the document."""
    return [_undo(need, "need.wanted-again", ref, by) for need in _needs(pairs) if need.declined_at]


@writes
def drop_answers(pairs: Collection[Pair], *, document: str, ref: str, by: Person | None) -> list[Need]:
    """These parts are left out of the newest revision, `ref`: what the customer said no to in an earlier one, whose name
    begins with `document` ("estimate 26-0012 "), isn't declined any more."""
    its = [need for need in _needs(pairs) if need.declined_at and need.declined_ref.startswith(document)]
    return [_undo(need, "need.answer-dropped", ref, by) for need in its]


def _undo(need: Need, verb: str, ref: str, by: Person | None) -> Need:
    save_next(need, declined_at=None, declined_ref="")
    record(by, verb, need, root=need.stage.card, part=need.part.number, stage=called(need.stage), ref=ref)
    return need


def _needs(pairs: Collection[Pair]) -> list[Need]:
    """Locked in the order of the parts, so that two cards don't lock crosswise."""
    wanted = set(pairs)
    rows = Need.objects.filter(
        removed_at__isnull=True, stage_id__in={s for s, _ in wanted}, part_id__in={p for _, p in wanted}
    )
    its = [
        pk
        for pk, *pair in rows.order_by("part_id", "id").values_list("pk", "stage_id", "part_id")
        if tuple(pair) in wanted
    ]
    return [claim(Need, pk, None) for pk in its]
