"""Rules of cards and stages that pages and API share."""

from decimal import Decimal

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from jobs.cards import actions, queries
from jobs.cards.models import CardNote, Gate, JobCard, Stage
from jobs.plans import actions as plans
from jobs.plans.drafts import StageDraft
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused
from shop.trail.models import TrailRow
from tests.factories.cards import a_card, a_plan, a_stage
from tests.factories.plans import plan

pytestmark = pytest.mark.django_db
REF = "estimate 26-0012 revision 2"


def answer(work, stages, by, **more):
    return work([s.pk for s in stages], by=by, **({"ref": REF, "at": clock.now()} | more))


def state(stage):
    return queries.stage_state(queries.stage(stage.pk)).value


# --- plans onto cards -------------------------------------------------------------------------------


def test_two_plans_stand_one_below_the_other_each_in_its_order(office):
    crossed = plan(
        cautions="Hot oil.",
        stages=(
            StageDraft("Assemble", "assemble", Decimal(2), after=(2,)),
            StageDraft("Clean", "clean", Decimal(1), cautions="Gloves."),
        ),
    )
    card = a_card(office, plan_ids=[a_plan().pk, crossed.pk])
    stages = list(card.stages.all())
    assert [(s.position, s.name) for s in stages] == [
        (1, "Strip"), (2, "Measure"), (3, "Fit rings"), (4, "Clean"), (5, "Assemble"),
    ]  # fmt: skip
    assert list(stages[4].after.all()) == [stages[3]]
    assert list(stages[3].after.all()) == []
    assert stages[3].cautions == "Hot oil.\nGloves."
    assert card.plans_used == f"Top-end rebuild TOP-B2; {crossed.name}"


def test_a_plan_changed_later_changes_no_card(office):
    used = a_plan()
    card = a_card(office, plan_ids=[used.pk])
    plans.edit_stage(used.stages.first().pk, None, by=office, name="Strip all", standard_hours=Decimal(9))
    first = card.stages.first()
    assert (first.name, first.standard_hours) == ("Strip", 2)


def test_an_archived_plan_and_one_named_twice_open_nothing(office):
    used = a_plan()
    with pytest.raises(BadInput, match="named twice"):
        a_card(office, plan_ids=[used.pk, used.pk])
    plans.archive_plan(used.pk, used.version, by=office)
    with pytest.raises(BadInput, match="put away"):
        a_card(office, plan_ids=[used.pk])
    assert not JobCard.objects.exists()
    assert a_card(office).number.endswith("-0001")


# --- the customer's answer --------------------------------------------------------------------------


def test_a_go_ahead_lets_the_work_start_and_a_no_ends_it(office, mechanic):
    card = a_card(office)
    yes, no = (a_stage(card, n, kind="rework", needs_go_ahead=True) for n in ("Lap valves", "Paint"))
    assert state(yes) == "waits-go-ahead"
    answer(actions.give_go_ahead, [yes], office)
    answer(actions.decline, [no], None)  # by link
    assert (state(yes), state(no)) == ("can-start", "declined")
    with pytest.raises(Refused, match="declined"):
        actions.start_stage(no.pk, by=mechanic)
    actions.start_stage(yes.pk, by=mechanic)
    actions.finish_stage(yes.pk, by=mechanic)
    with pytest.raises(Refused, match="finished already"):
        answer(actions.decline, [yes], office)
    assert TrailRow.objects.get(verb="stage.declined").by is None
    assert actions.finish_card(card.pk, by=office).finished_at


def test_one_refused_answer_takes_all_of_them_back(office):
    card = a_card(office)
    kept, gone = a_stage(card, "A", needs_go_ahead=True), a_stage(card, "B", needs_go_ahead=True)
    actions.remove_stage(gone.pk, by=office)
    with pytest.raises(Refused):
        answer(actions.give_go_ahead, [kept, gone], office)
    with pytest.raises(NotFound):
        actions.give_go_ahead([kept.pk, 99999], ref=REF, at=clock.now(), by=office)
    assert Stage.objects.get(pk=kept.pk).go_ahead_at is None


def test_a_withdrawn_answer_leaves_started_work_started(office, mechanic):
    card = a_card(office)
    started, waiting = (a_stage(card, n, needs_go_ahead=True) for n in ("A", "B"))
    answer(actions.give_go_ahead, [started, waiting], office)
    actions.start_stage(started.pk, by=mechanic)
    actions.withdraw_go_ahead([started.pk, waiting.pk], by=office, reason="Revision 3")
    assert (state(started), state(waiting)) == ("running", "waits-go-ahead")
    assert TrailRow.objects.filter(verb="stage.go-ahead-withdrawn").count() == 2


def test_a_declined_or_removed_predecessor_no_longer_holds_up(office, mechanic):
    card = a_card(office)
    first, second, third = a_stage(card, "A"), a_stage(card, "B"), a_stage(card, "C")
    actions.set_after(third.pk, [first.pk, second.pk], by=office)
    answer(actions.decline, [first], office)
    assert state(third) == "waits-stage"
    actions.remove_stage(second.pk, by=office)
    assert state(third) == "can-start"
    assert Stage.objects.get(pk=third.pk).position == 2
    actions.start_stage(third.pk, by=mechanic)


# --- order ------------------------------------------------------------------------------------------


def test_stages_keep_to_their_order(office):
    card = a_card(office)
    first, second, third = (a_stage(card, n) for n in "ABC")
    actions.set_after(second.pk, [first.pk], by=office)
    with pytest.raises(BadInput, match="after itself"):
        actions.set_after(first.pk, [first.pk], by=office)
    with pytest.raises(BadInput, match="stands below"):
        actions.set_after(first.pk, [third.pk], by=office)
    with pytest.raises(BadInput, match="same card"):
        actions.set_after(first.pk, [a_stage(a_card(office)).pk], by=office)
    with pytest.raises(BadInput, match="must come after stage"):
        actions.move_stage(first.pk, 3, by=office)
    with pytest.raises(BadInput, match="count from 1"):
        actions.move_stage(first.pk, 0, by=office)
    assert list(card.stages.values_list("name", flat=True)) == ["A", "B", "C"]
    actions.move_stage(third.pk, 1, by=office)
    actions.move_stage(third.pk, 999, by=office)
    inserted = a_stage(card, "D", position=2)
    assert list(card.stages.values_list("name", "position")) == [("A", 1), ("D", 2), ("B", 3), ("C", 4)]
    assert inserted.position == 2


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"name": " "}, "can't be left empty"),
        ({"name": "x" * 121}, "at most 120"),
        ({"kind": "dance"}, "one of the kinds"),
        ({"standard_hours": Decimal("-1")}, "from 0 to 1000"),
        ({"standard_hours": Decimal("1001")}, "from 0 to 1000"),
        ({"standard_hours": Decimal("NaN")}, "from 0 to 1000"),
        ({"standard_hours": Decimal("0.005")}, "two decimals"),
        ({"mechanic_id": 99999}, "no such mechanic"),
        ({"after_ids": [99999]}, "same card"),
    ],
)
def test_bad_stages_are_not_added(office, values, message):
    card = a_card(office)
    with pytest.raises(BadInput, match=message):
        actions.add_stage(card.pk, by=office, **({"name": "Strip", "kind": "strip"} | values))
    assert not Stage.objects.exists()


def test_the_stores_are_given_no_stage(office, stores):
    with pytest.raises(BadInput, match="no such mechanic"):
        actions.assign(a_stage(a_card(office)).pk, stores.pk, by=office)


def test_signed_work_stays_as_it_is(office, mechanic):
    stage = a_stage(a_card(office))
    actions.start_stage(stage.pk, by=mechanic)
    with pytest.raises(Refused, match="was started, so it stays"):
        actions.remove_stage(stage.pk, by=office)
    with pytest.raises(BadInput, match="has started"):
        actions.add_gate(stage.pk, by=office, text="Ports covered", when="start")
    actions.finish_stage(stage.pk, by=mechanic)
    for work in (
        lambda: actions.edit_stage(stage.pk, None, by=office, name="Other"),
        lambda: actions.add_gate(stage.pk, by=office, text="Late"),
        lambda: actions.hold_stage(stage.pk, by=mechanic, reason="parts"),
        lambda: actions.finish_stage(stage.pk, by=mechanic),
    ):
        with pytest.raises(Refused, match="is finished"):
            work()
    actions.unfinish_stage(stage.pk, by=mechanic, reason="Leaks")
    assert state(stage) == "running"


# --- a card's end -----------------------------------------------------------------------------------


def test_a_closed_card_takes_no_work(office, mechanic):
    card = a_card(office)
    stage = a_stage(card, chargeable=False)
    actions.finish_card(card.pk, by=office)  # what isn't charged may be left undone
    with pytest.raises(Refused, match="the office reopens it first"):
        actions.start_stage(stage.pk, by=mechanic)
    actions.reopen_card(card.pk, by=office, reason="Test run")
    actions.start_stage(stage.pk, by=mechanic)
    with pytest.raises(Refused, match="Not finished yet: stage 1"):
        actions.finish_card(card.pk, by=office)
    actions.cancel_card(card.pk, by=office, reason="Sold")
    for work in (
        lambda: a_stage(card),
        lambda: actions.finish_stage(stage.pk, by=mechanic),
        lambda: actions.edit_card(card.pk, None, by=office, complaint="x"),
        lambda: actions.cancel_card(card.pk, by=office, reason="Again"),
        lambda: actions.machine_arrived(card.pk, by=office),
        lambda: actions.hand_over(card.pk, by=office),
    ):
        with pytest.raises(Refused, match="was cancelled"):
            work()
    assert actions.add_note(card.pk, by=office, text="Called again").pk


def test_a_held_card_is_not_finished(office, mechanic):
    card = a_card(office)
    actions.hold_card(card.pk, by=mechanic, reason="tool")
    with pytest.raises(Refused, match="on hold for a tool"):
        actions.finish_card(card.pk, by=office)


def test_a_note_on_another_cards_stage_is_refused(office):
    with pytest.raises(BadInput, match="no such stage"):
        actions.add_note(a_card(office).pk, by=office, text="x", stage_id=a_stage(a_card(office)).pk)
    assert not CardNote.objects.exists()


# --- what the database itself refuses ---------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE jobs_cards_gate SET text = 'x'",
        "UPDATE jobs_cards_gate SET signed_at = NULL",
        "DELETE FROM jobs_cards_gate",
        "UPDATE jobs_cards_cardnote SET text = 'x'",
        "DELETE FROM jobs_cards_cardnote",
    ],
)
def test_signatures_and_notes_stay(office, mechanic, change):
    stage = a_stage(a_card(office))
    gate = actions.add_gate(stage.pk, by=office, text="Ports covered", when="start")
    actions.sign_gate(gate.pk, by=mechanic)
    actions.add_note(stage.card_id, by=office, text="Stud 3 was loose")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(change)
    with pytest.raises(Refused, match="A signature stays"):
        actions.remove_gate(gate.pk, by=office)


def test_an_unsigned_gate_can_go(office):
    gate = actions.add_gate(a_stage(a_card(office)).pk, by=office, text="Ports covered")
    actions.remove_gate(gate.pk, by=office)
    assert queries.gate(gate.pk) is None
    assert Gate.objects.get().removed_at


@pytest.mark.parametrize(
    ("model", "values"),
    [
        (JobCard, {"handed_over_at": "2026-11-26T10:00Z"}),
        (JobCard, {"finished_at": "2026-11-26T10:00Z", "handed_over_at": "2026-11-26T10:00Z", "cancelled_at": "2026-11-26T10:00Z"}),
        (Stage, {"finished_at": "2026-11-26T10:00Z"}),
        (Stage, {"standard_hours": "-1"}),
    ],
)  # fmt: skip
def test_constraints(office, model, values):
    a_stage(a_card(office))
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.update(**values)
