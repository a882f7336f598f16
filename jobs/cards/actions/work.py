"""Work on a stage: start, hold, sign, finish, note."""

from __future__ import annotations

from datetime import datetime

from shop.kernel import clock
from shop.kernel.errors import NeedsOverride, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.text import clean_line, clean_text
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import CardNote, Gate, Hold, JobCard, Stage
from ..state import numbered
from .ending import work_ends
from .locking import (
    called,
    capital,
    lock_card,
    lock_gate,
    lock_stage,
    must_be_current,
    must_be_in_shop,
    must_be_open,
)


@writes
def start_stage(
    stage_id: int,
    *,
    by: Person,
    override_reason: str = "",
    worker: Person | None = None,
    at: datetime | None = None,
) -> Stage:
    """Start a stage. It becomes the worker's (`worker`, else `by`) when it was nobody's.

    Raises Refused when the card isn't in the shop, it or the stage is on hold, the customer's go-ahead or a signature is
    missing, or it was started already; NeedsOverride when an earlier stage isn't finished or the stage is for another
    kind of worker: someone with the right `stages.override` may go past these with a reason, which is recorded.
    """
    stage = lock_stage(stage_id)
    return _start(stage, by=by, override_reason=override_reason, worker=worker or by, at=at)


@writes
def work_on(
    stage_id: int,
    *,
    by: Person,
    override_reason: str = "",
    worker: Person | None = None,
    at: datetime | None = None,
) -> Stage:
    """Make sure that hours may go onto the stage now: start it unless it was started. Raises as `start_stage`."""
    stage = lock_stage(stage_id)
    if stage.started_at is None or stage.finished_at or stage.removed_at:
        return _start(stage, by=by, override_reason=override_reason, worker=worker or by, at=at)
    must_be_in_shop(stage.card)
    must_be_current(stage)
    _must_not_be_held(stage)
    return stage


def _start(stage: Stage, *, by: Person, override_reason: str, worker: Person, at: datetime | None) -> Stage:
    card = stage.card
    must_be_in_shop(card)
    must_be_current(stage)
    if stage.started_at:
        raise Refused(f"{capital(called(stage))} was started by {stage.started_by} already.", code="already-started")
    _must_not_be_held(stage)
    if stage.chargeable and stage.needs_go_ahead and stage.go_ahead_at is None:
        raise Refused(
            f"The customer's go-ahead for {called(stage)} of card {card.number} is missing. Ask the office to get it; "
            "work that is charged doesn't start without it.",
            code="go-ahead-missing",
        )
    unsigned = _unsigned(stage, "start")
    if unsigned:
        raise Refused(
            f"To be signed before {called(stage)} starts: {_texts(unsigned)}.",
            code="gates-unsigned",
            gate_ids=[g.pk for g in unsigned],
        )
    reason = clean_line(override_reason, field="override_reason")
    obstacle = _obstacle(stage, worker)
    if obstacle:
        if not reason:
            raise NeedsOverride(f"{obstacle} The owner can start it all the same and say why.", code="needs-override")
        require(by, "stages.override")
    else:
        reason = ""
    stage.started_by = by
    values = {"started_at": at or clock.now(), "started_by_id": by.pk}
    if stage.mechanic_id is None and "stages.work" in worker.rights:
        values["mechanic_id"] = worker.pk
    if reason:
        values |= {"override_reason": reason, "override_by_id": by.pk}
    save_next(stage, **values)
    record(by, "stage.started", stage, root=card, stage=called(stage), **({"reason": reason} if reason else {}))
    return stage


def _obstacle(stage: Stage, worker: Person) -> str:
    """Why the stage should not start yet, unless overridden; "" when nothing stands against it."""
    open_before = stage.after.filter(
        finished_at__isnull=True, declined_at__isnull=True, removed_at__isnull=True
    ).values_list("position", flat=True)
    if open_before:
        return f"{capital(called(stage))} comes after {numbered(list(open_before))}, which is not finished."
    if stage.done_by and stage.done_by.casefold() != worker.labour_class.casefold():
        return f"{capital(called(stage))} is for “{stage.done_by}”, which {worker.name} is not entered as."
    return ""


@writes
def finish_stage(stage_id: int, *, by: Person) -> Stage:
    """Finish a started stage. Raises Refused, naming them, while gates are unsigned.

    A clock that runs on it is the time room's: its action of the same name stops it and calls this one.
    """
    stage = lock_stage(stage_id)
    must_be_in_shop(stage.card)
    must_be_current(stage)
    if stage.started_at is None:
        raise Refused(f"{capital(called(stage))} hasn't been started.", code="not-started")
    _must_not_be_held(stage)
    unsigned = _unsigned(stage, "start") + _unsigned(stage, "finish")
    if unsigned:
        raise Refused(
            f"To be signed before {called(stage)} is finished: {_texts(unsigned)}.",
            code="gates-unsigned",
            gate_ids=[g.pk for g in unsigned],
        )
    save_next(stage, finished_at=clock.now(), finished_by_id=by.pk)
    record(by, "stage.finished", stage, root=stage.card, stage=called(stage))
    work_ends([stage], by)
    return stage


@writes
def unfinish_stage(stage_id: int, *, by: Person, reason: str) -> Stage:
    """Take a finished stage up again. Raises Refused unless it is finished and its card open."""
    reason = clean_line(reason, field="reason", required=True)
    stage = lock_stage(stage_id)
    must_be_in_shop(stage.card)
    if stage.finished_at is None:
        raise Refused(f"{capital(called(stage))} isn't finished.", code="not-finished")
    save_next(stage, finished_at=None, finished_by_id=None)
    record(by, "stage.unfinished", stage, root=stage.card, stage=called(stage), reason=reason)
    return stage


@writes
def hold_card(card_id: int, *, by: Person, reason: str, note: str = "") -> Hold:
    """The whole card stands still. Raises Refused when it does already, BadInput for an unknown reason."""
    note = _hold_note(reason, note)
    card = lock_card(card_id)
    must_be_open(card)
    return _hold(card, None, by, reason, note)


@writes
def hold_stage(stage_id: int, *, by: Person, reason: str, note: str = "") -> Hold:
    """One stage stands still. Raises Refused when it does already, BadInput for an unknown reason.

    Clocks that run on it are the time room's: its action of the same name stops them and calls this one.
    """
    note = _hold_note(reason, note)
    stage = lock_stage(stage_id)
    must_be_open(stage.card)
    must_be_current(stage)
    return _hold(stage.card, stage, by, reason, note)


@writes
def resume_card(card_id: int, *, by: Person) -> Hold:
    """What the card waited for is there. Raises Refused when it isn't on hold."""
    card = lock_card(card_id)
    return _resume(card, None, by)


@writes
def resume_stage(stage_id: int, *, by: Person) -> Hold:
    """What the stage waited for is there. Raises Refused when it isn't on hold."""
    stage = lock_stage(stage_id)
    return _resume(stage.card, stage, by)


@writes
def sign_gate(gate_id: int, *, by: Person, note: str = "") -> Gate:
    """Sign that a gate's condition is met; a signature stays. Raises Refused when it was signed, or its stage isn't in
    work."""
    note = clean_line(note, field="note")
    gate = lock_gate(gate_id)
    stage = gate.stage
    must_be_in_shop(stage.card)
    if gate.signed_at:
        raise Refused(f"“{gate.text}” was signed by {gate.signed_by} already.", code="already-signed")
    must_be_current(stage)
    if gate.when == "finish" and stage.started_at is None:
        raise Refused(f"“{gate.text}” is signed once {called(stage)} is in hand. Start the stage first.")
    gate.signed_at, gate.signed_by, gate.note = clock.now(), by, note
    gate.save(update_fields=["signed_at", "signed_by", "note"])
    record(by, "gate.signed", gate, root=stage.card, stage=called(stage), gate=gate.text, note=note)
    return gate


@writes
def add_note(card_id: int, *, by: Person, text: str, stage_id: int | None = None) -> CardNote:
    """Write something worth remembering onto a card or one of its stages; also after hand-over. A note stays."""
    text = clean_text(text, field="text", required=True, max_length=4000)
    card = lock_card(card_id)
    stage = None
    if stage_id is not None:
        stage = Stage.objects.filter(pk=stage_id, card=card).first()
        if stage is None:
            raise field_error("stage_id", f"Card {card.number} has no such stage.")
    row = CardNote.objects.create(card=card, stage=stage, text=text, at=clock.now(), by=by)
    record(by, "note.added", row, root=card, stage=called(stage) if stage else "", text=text[:200])
    return row


def _hold_note(reason: str, note: str) -> str:
    if reason not in Hold.Reason.values:
        raise field_error("reason", "Choose what it waits for: " + ", ".join(Hold.Reason.values) + ".")
    note = clean_line(note, field="note", max_length=300)
    if reason == Hold.Reason.OTHER and not note:
        raise field_error("note", "Say what it waits for.")
    return note


def _hold(card: JobCard, stage: Stage | None, by: Person, reason: str, note: str) -> Hold:
    held = Hold.objects.filter(card=card, stage=stage, ended_at__isnull=True).first()
    if held:
        what = capital(called(stage)) if stage else f"Card {card.number}"
        raise Refused(
            f"{what} is on hold for {held.get_reason_display()} already. Let it go on before holding it for another "
            "reason.",
            code="already-held",
        )
    hold = Hold.objects.create(card=card, stage=stage, reason=reason, note=note, since=clock.now(), by=by)
    subject = stage or card
    words = {"stage": called(stage)} if stage else {}
    verb = "stage.held" if stage else "card.held"
    record(by, verb, subject, root=card, waits_for=hold.get_reason_display(), note=note, **words)
    return hold


def _resume(card: JobCard, stage: Stage | None, by: Person) -> Hold:
    hold = Hold.objects.filter(card=card, stage=stage, ended_at__isnull=True).first()
    if hold is None:
        what = capital(called(stage)) if stage else f"Card {card.number}"
        raise Refused(f"{what} isn't on hold.", code="not-held")
    hold.ended_at, hold.ended_by = clock.now(), by
    hold.save(update_fields=["ended_at", "ended_by"])
    words = {"stage": called(stage)} if stage else {}
    record(by, "stage.resumed" if stage else "card.resumed", stage or card, root=card, **words)
    return hold


def _must_not_be_held(stage: Stage) -> None:
    holds = Hold.objects.filter(card=stage.card, ended_at__isnull=True)
    for hold in holds:
        if hold.stage_id in (None, stage.pk):
            what = capital(called(stage)) if hold.stage_id else f"Card {stage.card.number}"
            note = f" ({hold.note})" if hold.note else ""
            raise Refused(
                f"{what} is on hold for {hold.get_reason_display()}{note}. Let it go on first.", code="on-hold"
            )


def _unsigned(stage: Stage, when: str) -> list[Gate]:
    return list(stage.gates.filter(when=when, signed_at__isnull=True, removed_at__isnull=True))


def _texts(gates: list[Gate]) -> str:
    return ", ".join(f"“{g.text}”" for g in gates)
