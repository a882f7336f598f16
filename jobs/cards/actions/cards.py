"""A card from opening to hand-over."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from django.db.models import Max

from jobs.machines.models import Machine
from jobs.plans import queries as plans
from jobs.plans.models import WorkPlan
from jobs.plans.order import in_order
from shop.business import queries as business
from shop.business.models import Site
from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import changes, record

from ..models import Gate, Hold, JobCard, Stage
from .ending import work_ends
from .locking import called, lock_card, must_be_open

# Called in the same write when a plan is copied onto a card, with (stage by planned stage's id, by). Rooms above append to
# it once, when the app starts; this room can't know them.
PLAN_BRINGS: list[Callable[[dict[int, Stage], Person], object]] = []
FURTHEST = 5 * 366  # days ahead that a promise may lie


@writes
def open_card(
    *,
    by: Person,
    machine_id: int,
    complaint: str,
    site_id: int | None = None,
    promised_on: date | None = None,
    came_with: str = "",
    plan_ids: Sequence[int] = (),
    arrived: bool = True,
) -> JobCard:
    """Open a job card for a machine, with the stages and gates of the plans named.

    Numbered without gaps per year ("26-0031"). `arrived` False books the machine in for later.
    Raises BadInput (fields machine_id, complaint, site_id, promised_on, plan_ids).
    """
    complaint = clean_text(complaint, field="complaint", required=True, max_length=4000)
    came_with = clean_text(came_with, field="came_with", max_length=2000)
    _check_promise(promised_on)
    machine = Machine.objects.select_related("customer").filter(pk=machine_id).first()
    if machine is None:
        raise field_error("machine_id", "There is no such machine. Search for it by serial number, or add it first.")
    if machine.archived_at or machine.customer.archived_at:
        raise field_error("machine_id", "This machine or its owner was put away. Take it out of the archive first.")
    if len(set(plan_ids)) != len(plan_ids):
        raise field_error("plan_ids", "The same plan is named twice.")
    site = _site(site_id)
    now = clock.now()
    card = JobCard.objects.create(
        number=number("", "card", clock.today().year),
        machine=machine,
        customer=machine.customer,
        site=site,
        complaint=complaint,
        came_with=came_with,
        promised_on=promised_on,
        opened_at=now,
        opened_by=by,
        arrived_at=now if arrived else None,
    )
    record(by, "card.opened", card, number=card.number, machine=str(machine), arrived=arrived, promised_on=promised_on)
    for plan_id in plan_ids:
        copy_plan_onto_card(card, plan_id, by=by)
    return card


@writes
def copy_plan_onto_card(card: JobCard, plan_id: int, *, by: Person) -> dict[int, Stage]:
    """Append the stages of a plan, with their order and gates, to an open card.

    Each stage stands below those it comes after; the cautions of the whole plan stand on the first. Answers which stage
    of the plan became which stage of the card. What else a plan brings (the parts it needs) the
    rooms above add through `PLAN_BRINGS`. A plan changed later changes no card. Raises BadInput (field plan_ids), Refused
    when the card is closed.
    """
    locked = lock_card(card.pk)
    must_be_open(locked)
    # held, so that nobody changes the plan between its stages and their gates
    plan = WorkPlan.objects.select_for_update(of=("self",), no_key=True).filter(pk=plan_id).first()
    if plan is None:
        raise field_error("plan_ids", "There is no such plan.")
    if plan.archived_at:
        raise field_error("plan_ids", f"The plan “{plan.name}” was put away. Choose another.")
    listed = {s.pk: s for s in plan.stages.prefetch_related("gates", "after")}
    planned = [listed[step.key] for step in in_order(plans.steps(listed.values()))]
    last = Stage.objects.filter(card=locked).aggregate(last=Max("position"))["last"] or 0
    fields = [f.name for f in Stage._meta.fields if f.name in _COPIED]
    stages = Stage.objects.bulk_create(
        Stage(card=locked, position=last + n, plan_stage=p, **{f: getattr(p, f) for f in fields})
        for n, p in enumerate(planned, start=1)
    )
    if stages and plan.cautions:
        stages[0].cautions = "\n".join(filter(None, (plan.cautions, stages[0].cautions)))
        stages[0].save(update_fields=["cautions"])
    copied = {p.pk: s for p, s in zip(planned, stages, strict=True)}
    after = Stage.after.through
    after.objects.bulk_create(
        after(from_stage=copied[p.pk], to_stage=copied[q.pk]) for p in planned for q in p.after.all() if q.pk in copied
    )
    Gate.objects.bulk_create(
        Gate(stage=copied[p.pk], position=n, text=g.text, when=g.when)
        for p in planned
        for n, g in enumerate(p.gates.all(), start=1)
    )
    used = "; ".join(filter(None, (locked.plans_used, plan.name)))[:200]
    save_next(locked, plans_used=used)
    card.plans_used, card.version = locked.plans_used, locked.version
    record(by, "card.plan-copied", card, plan=plan.name, stages=len(stages))
    for bring in PLAN_BRINGS:
        bring(copied, by)
    return copied


_COPIED = frozenset(
    {"name", "kind", "standard_hours", "done_by", "chargeable", "needs_go_ahead", "instructions", "cautions"}
)


@writes
def edit_card(card_id: int, expect: int | None, *, by: Person, **values: Any) -> JobCard:
    """Change complaint, came_with, promised_on, site_id of a card at version `expect`.

    Raises NotFound, Stale, BadInput, Refused when the card is closed.
    """
    card = lock_card(card_id, expect)
    if card.handed_over_at or card.cancelled_at:
        must_be_open(card)
    if "complaint" in values:
        values["complaint"] = clean_text(values["complaint"], field="complaint", required=True, max_length=4000)
    if "came_with" in values:
        values["came_with"] = clean_text(values["came_with"], field="came_with", max_length=2000)
    if "promised_on" in values and values["promised_on"] != card.promised_on:
        _check_promise(values["promised_on"])
    if "site_id" in values:
        values["site_id"] = _site(values["site_id"]).pk
    unknown = set(values) - {"complaint", "came_with", "promised_on", "site_id"}
    if unknown:
        raise TypeError(f"edit_card doesn't change {sorted(unknown)}")
    before = {name: getattr(card, name) for name in values}
    save_next(card, **values)
    record(by, "card.changed", card, changed=changes(before, values))
    return card


@writes
def machine_arrived(card_id: int, *, by: Person) -> JobCard:
    """The booked machine is here. Raises Refused when it already was."""
    card = lock_card(card_id)
    must_be_open(card)
    if card.arrived_at:
        raise Refused(f"The machine of card {card.number} is already here.", code="already-arrived")
    save_next(card, arrived_at=clock.now())
    record(by, "card.arrived", card)
    return card


@writes
def finish_card(card_id: int, *, by: Person) -> JobCard:
    """All work is done. Raises Refused, naming what is left, unless every chargeable stage is finished, declined or
    removed, no other stage is in hand and the card isn't on hold."""
    card = lock_card(card_id)
    must_be_open(card)
    if card.arrived_at is None:
        raise Refused(f"The machine of card {card.number} hasn't come in. Cancel the booking instead.")
    hold = Hold.objects.filter(card=card, stage__isnull=True, ended_at__isnull=True).first()
    if hold:
        raise Refused(f"Card {card.number} is on hold for {hold.get_reason_display()}. Let it go on first.")
    open_stages = card.stages.filter(removed_at__isnull=True, declined_at__isnull=True, finished_at__isnull=True)
    left = [s for s in open_stages if s.chargeable or s.started_at]
    if left:
        names = ", ".join(called(s) for s in left[:5]) + (f" and {len(left) - 5} more" if len(left) > 5 else "")
        raise Refused(
            f"Not finished yet: {names}. Finish or remove them, or note that the customer declined them.",
            code="stages-open",
            stage_ids=[s.pk for s in left],
        )
    save_next(card, finished_at=clock.now())
    record(by, "card.finished", card)
    return card


@writes
def reopen_card(card_id: int, *, by: Person, reason: str) -> JobCard:
    """A finished card goes back to the bench. Raises Refused unless it is finished and still here."""
    reason = clean_line(reason, field="reason", required=True)
    card = lock_card(card_id)
    if card.finished_at is None or card.handed_over_at or card.cancelled_at:
        raise Refused(f"Only a finished card that is still here can be reopened; {card.number} isn't.")
    save_next(card, finished_at=None)
    record(by, "card.reopened", card, reason=reason)
    return card


@writes
def hand_over(card_id: int, *, by: Person) -> JobCard:
    """The machine goes back to its owner; the card is closed for good. Raises Refused unless it is finished.

    Running clocks and parts still out are looked at by the rooms above, whose actions call this one.
    """
    card = lock_card(card_id)
    if card.handed_over_at or card.cancelled_at:
        must_be_open(card)
    if card.finished_at is None:
        raise Refused(f"Card {card.number} isn't finished. Finish it first, then hand over.", code="not-finished")
    save_next(card, handed_over_at=clock.now())
    record(by, "card.handed-over", card)
    work_ends(list(card.stages.all()), by)
    return card


@writes
def cancel_card(card_id: int, *, by: Person, reason: str) -> JobCard:
    """Nothing more is done on this card; what was done stays. Raises Refused when it is closed already.

    Running clocks and reserved parts are looked at by the rooms above, whose actions call this one.
    """
    reason = clean_line(reason, field="reason", required=True)
    card = lock_card(card_id)
    if card.handed_over_at or card.cancelled_at:
        must_be_open(card)
    save_next(card, cancelled_at=clock.now(), cancel_reason=reason)
    record(by, "card.cancelled", card, reason=reason)
    work_ends(list(card.stages.all()), by)
    return card


def _check_promise(day: date | None) -> None:
    if day is None:
        return
    today = clock.today()
    if day < today:
        raise field_error("promised_on", "The promised date lies in the past. Give today or a later day.")
    if (day - today).days > FURTHEST:
        raise field_error("promised_on", "The promised date lies more than five years ahead. Check the year.")


def _site(site_id: int | None) -> Site:
    site = business.default_site() if site_id is None else business.sites().filter(pk=site_id).first()
    if site is None:
        raise field_error("site_id", "There is no such site, or it was closed.")
    return site
