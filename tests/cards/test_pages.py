import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions
from jobs.cards.models import CardNote, Gate, JobCard, Stage
from tests.factories.cards import a_card, a_machine, a_plan, a_stage

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client, office):
    client.force_login(office)
    return client


@pytest.fixture
def bench(client, mechanic):
    client.force_login(mechanic)
    return client


def form(**fields):
    return {"once": str(uuid.uuid4())} | fields


def said(answer):
    """The text of a page, tags and runs of space gone."""
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_open_a_card_from_the_counter(desk):
    machine, plan = a_machine(), a_plan()
    assert "Take a machine in" in said(desk.get("/cards/new/"))
    assert f"?machine={machine.pk}" in desk.get("/cards/new/", {"q": "b2-404"}).content.decode()
    where = f"/cards/new/?machine={machine.pk}"
    assert plan.name in said(desk.get(where))
    sent = form(complaint="Smokes white.", plan_ids=[plan.pk], promised_on="")
    answer = desk.post(where, sent, follow=True)
    card = JobCard.objects.get()
    assert answer.redirect_chain == [(f"/cards/{card.pk}/", 303)]
    page = said(answer)
    assert "Card opened." in page
    assert "Smokes white." in page
    assert "Waits for stage 1" in page
    again = desk.post(where, sent, follow=True)
    assert again.redirect_chain == [(f"/cards/{card.pk}/", 303)]
    assert JobCard.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "problem"),
    [
        ({"complaint": ""}, "This field is required."),
        ({"complaint": "x" * 4001}, "at most 4000 characters"),
        ({"promised_on": "2020-01-01"}, "lies in the past"),
        ({"promised_on": "32.13.2026"}, "Enter a valid date."),
        ({"plan_ids": ["99999"]}, "not one of the available choices"),
    ],
)
def test_a_wrong_card_is_shown_again(desk, fields, problem):
    a_plan()
    typed = {"complaint": "Loses oil ☂ <b>fast</b>"} | fields
    answer = desk.post(f"/cards/new/?machine={a_machine().pk}", form(**typed))
    assert answer.status_code == 422
    assert problem in said(answer)
    assert "<b>fast</b>" not in answer.content.decode()
    assert not JobCard.objects.exists()


def test_a_stale_edit_shows_the_newer_beside(desk, office):
    card = a_card()
    actions.edit_card(card.pk, 1, by=office, complaint="Smokes blue.")
    typed = form(complaint="Smokes black.", came_with="", promised_on="", version="1")
    answer = desk.post(f"/cards/{card.pk}/edit/", typed)
    assert answer.status_code == 422
    page = said(answer)
    assert "Smokes blue." in page
    assert "Smokes black." in page
    assert JobCard.objects.get().complaint == "Smokes blue."
    retyped = form(complaint="Smokes black.", came_with="", promised_on="", version="2")
    assert desk.post(f"/cards/{card.pk}/edit/", retyped).status_code == 303
    assert JobCard.objects.get().complaint == "Smokes black."


def test_a_stage_is_added_ordered_edited_and_removed(desk, mechanic):
    card = a_card()
    first = a_stage(card, "Strip")
    base = f"/cards/{card.pk}/stages"
    added = form(
        name="Clean", kind="clean", standard_hours="1,5", mechanic_id=mechanic.pk, after_ids=[first.pk], chargeable="on"
    )
    assert desk.post(f"{base}/new/", added).status_code == 303
    second = Stage.objects.get(name="Clean")
    assert (str(second.standard_hours), second.mechanic, second.position) == ("1.50", mechanic, 2)
    assert list(second.after.all()) == [first]
    refused = desk.post(f"{base}/{second.pk}/move/", form(position="1"), follow=True)
    assert "must come after stage 1" in said(refused)
    edited = form(name="Clean all", kind="clean", standard_hours="2", version="1", chargeable="on")
    assert desk.post(f"{base}/{second.pk}/edit/", edited).status_code == 303
    for nowhere in ("", "-1", "second"):
        asked = desk.post(f"{base}/{second.pk}/move/", form(position=nowhere), follow=True)
        assert "Give the place as a whole number" in said(asked)
    assert desk.post(f"{base}/{second.pk}/move/", form(position="1")).status_code == 303
    assert list(card.stages.values_list("name", flat=True)) == ["Clean all", "Strip"]
    assert desk.post(f"{base}/{first.pk}/remove/", form()).status_code == 303
    assert "Strip" not in said(desk.get(f"/cards/{card.pk}/")).partition("History")[0]
    assert desk.post(f"{base}/{second.pk}/edit/", edited | form()).status_code == 422  # version 1 is gone


def test_the_bench_works_a_stage_by_buttons(bench, mechanic, office):
    card = a_card()
    stage = a_stage(card)
    gate = actions.add_gate(stage.pk, by=office, text="Ports covered", when="start")
    base = f"/cards/{card.pk}/stages/{stage.pk}"
    page = bench.get(f"{base}/")
    assert "Sign first: Ports covered" in said(page)
    early = bench.post(f"{base}/start/", form(), follow=True)
    assert "To be signed before stage 1 “Strip” starts: “Ports covered”." in said(early)
    sign = form(next=f"/cards/{card.pk}/")
    signed = bench.post(f"/cards/{card.pk}/gates/{gate.pk}/sign/", sign, follow=True)
    assert signed.redirect_chain == [(f"/cards/{card.pk}/", 303)]
    assert Gate.objects.get().signed_by == mechanic
    back_button = bench.post(f"/cards/{card.pk}/gates/{gate.pk}/sign/", form(), follow=True)
    assert "was signed by Jory Vane already" in said(back_button)
    double = form()
    bench.post(f"{base}/start/", double)
    assert bench.post(f"{base}/start/", double).status_code == 303
    assert "In hand" in said(bench.get(f"{base}/"))
    assert bench.post(f"{base}/finish/", form()).status_code == 303
    assert Stage.objects.get().finished_by == mechanic


def test_a_next_elsewhere_is_not_followed(bench):
    card = a_card()
    stage = a_stage(card)
    for next_ in ("https://example.org/", "//example.org/", "/api/v1/cards/", "javascript:alert(1)"):
        answer = bench.post(f"/cards/{card.pk}/stages/{stage.pk}/resume/", form(next=next_))
        assert answer["Location"] == f"/cards/{card.pk}/stages/{stage.pk}/"


def test_only_the_owner_is_asked_for_a_reason(client, mechanic, owner, office):
    card = a_card()
    first, second = a_stage(card, "Strip"), a_stage(card, "Clean")
    actions.set_after(second.pk, [first.pk], by=office)
    where = f"/cards/{card.pk}/stages/{second.pk}/start/"
    client.force_login(mechanic)
    assert "comes after stage 1, which is not finished" in said(client.post(where, form(), follow=True))
    client.force_login(owner)
    asked = client.post(where, form())
    assert asked.status_code == 409
    assert "Why start it all the same?" in said(asked)
    assert client.post(where, form(override_reason="Two can work at once")).status_code == 303
    assert Stage.objects.get(pk=second.pk).override_by == owner


def test_a_hold_with_its_reason_and_a_note(bench):
    card = a_card()
    stage = a_stage(card)
    where = f"/cards/{card.pk}/stages/{stage.pk}/hold/"
    assert "It waits for" in said(bench.get(where))
    assert bench.post(where, form(reason="weather")).status_code == 422
    assert "Say what it waits for." in said(bench.post(where, form(reason="other")))
    bench.post(where, form(reason="parts", note="ring set"))
    page = said(bench.get(f"/cards/{card.pk}/"))
    assert "On hold: parts (ring set)" in page
    note = form(text="Stud 3 was loose", stage_id=stage.pk, next=f"/cards/{card.pk}/")
    assert bench.post(f"/cards/{card.pk}/notes/", note).status_code == 303
    assert "Stud 3 was loose" in said(bench.get(f"/cards/{card.pk}/"))
    empty = bench.post(f"/cards/{card.pk}/notes/", form(text="\u200b"))
    assert empty.status_code == 422
    assert CardNote.objects.count() == 1
    assert "Put stage 1 “Strip” on hold for parts (ring set)" in said(bench.get(f"/cards/{card.pk}/history/"))


def test_a_child_under_the_wrong_parent_is_not_there(desk):
    one, other = a_card(), a_card()
    stage = a_stage(one)
    gate = actions.add_gate(stage.pk, by=one.opened_by, text="Ports covered")
    wrong = f"/cards/{other.pk}/stages/{stage.pk}/"
    assert desk.get(wrong).status_code == 404
    assert desk.get(wrong + "edit/").status_code == 404
    for tail in ("move/", "remove/"):
        assert desk.post(wrong + tail, form(position="1")).status_code == 404
    assert desk.post(f"/cards/{other.pk}/gates/{gate.pk}/remove/", form()).status_code == 404
    assert desk.get("/cards/99999/").status_code == 404
    assert Gate.objects.get().removed_at is None


def test_the_list_narrows(desk, mechanic):
    mine = a_card()
    a_stage(mine, mechanic_id=mechanic.pk)
    other = a_card(machine_id=a_machine("B2-50000").pk)
    cancelled = a_card(machine_id=a_machine("B2-60000").pk)
    actions.cancel_card(cancelled.pk, by=mine.opened_by, reason="Sold the boat")
    everything = said(desk.get("/cards/"))
    assert all(c.number in everything for c in (mine, other))
    assert cancelled.number not in everything
    assert other.number not in said(desk.get("/cards/", {"mechanic": mechanic.pk}))
    found = said(desk.get("/cards/", {"state": "cancelled"}))
    assert cancelled.number in found
    assert mine.number not in found
    assert "Nothing fits" in said(desk.get("/cards/", {"number": "19-"}))
    assert desk.get("/cards/", {"cursor": "rubbish", "mechanic": "x"}).status_code == 200


def _queries(client, path):
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(path).status_code == 200
    return len(seen)


def test_more_cards_and_stages_take_no_more_queries(desk, owner):
    def more(n):
        for i in range(n):
            card = a_card(plan_ids=[plan.pk])
            a_stage(card, f"Extra {i}")

    plan = a_plan()
    more(2)
    card = JobCard.objects.first()
    desk.get("/cards/")
    few = [_queries(desk, p) for p in ("/cards/", f"/cards/{card.pk}/")]
    more(3)
    for n in range(4):
        stage = a_stage(card, f"More {n}")
        actions.add_gate(stage.pk, by=card.opened_by, text="Clean")
    assert [_queries(desk, p) for p in ("/cards/", f"/cards/{card.pk}/")] == few
    assert few[0] <= 7  # one of them counts the alerts for the menu
