"""The customer's yes or no to stages, as the estimates room hands it down."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from shop.kernel.errors import Refused
from shop.kernel.text import clean_line
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import Stage
from .ending import work_ends
from .locking import called, capital, lock_stages, must_be_current


@writes
def give_go_ahead(stage_ids: Collection[int], *, ref: str, at: datetime, by: Person | None) -> list[Stage]:
    """The customer said yes to these stages. `ref` names the document ("estimate 26-0012 revision 2"), `at` when.

    `by` is who recorded it, None when the customer answered by link. An earlier no is overtaken. Raises NotFound,
    Refused for a stage that was removed.
    """
    ref = clean_line(ref, field="ref", required=True, max_length=80)
    stages = lock_stages(stage_ids)
    for stage in stages:
        _not_removed(stage)
        save_next(stage, go_ahead_at=at, go_ahead_ref=ref, declined_at=None)
        record(by, "stage.go-ahead", stage, root=stage.card, stage=called(stage), ref=ref)
    return stages


@writes
def decline(stage_ids: Collection[int], *, ref: str, at: datetime, by: Person | None) -> list[Stage]:
    """The customer said no to these stages: nothing more is done on them. Hours already worked stay.

    The caller stops clocks that run on them (`jobs.timebook.actions.stop_clocks`). Raises NotFound, Refused for a stage
    that is finished or was removed.
    """
    ref = clean_line(ref, field="ref", required=True, max_length=80)
    stages = lock_stages(stage_ids)
    for stage in stages:
        _not_removed(stage)
        if stage.finished_at:
            raise Refused(
                f"{capital(called(stage))} is finished already, so it can't be declined any more.",
                code="stage-finished",
            )
        save_next(stage, go_ahead_at=None, go_ahead_ref=ref, declined_at=at)
        record(by, "stage.declined", stage, root=stage.card, stage=called(stage), ref=ref)
    work_ends(stages, by)
    return stages


@writes
def withdraw_go_ahead(stage_ids: Collection[int], *, by: Person | None, reason: str) -> list[Stage]:
    """The answer no longer counts, neither yes nor no (the estimate was revised). What was started stays started.

    Raises NotFound. Finished stages are left as they are.
    """
    reason = clean_line(reason, field="reason", required=True)
    stages = [s for s in lock_stages(stage_ids) if not s.finished_at and not s.removed_at]
    for stage in stages:
        if stage.go_ahead_at is None and stage.declined_at is None:
            continue
        save_next(stage, go_ahead_at=None, go_ahead_ref="", declined_at=None)
        record(by, "stage.go-ahead-withdrawn", stage, root=stage.card, stage=called(stage), reason=reason)
    return stages


def _not_removed(stage: Stage) -> None:
    if stage.removed_at:
        must_be_current(stage)
