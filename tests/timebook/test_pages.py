import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.timebook import actions, queries
from jobs.timebook.models import TimeBooking
from tests.factories.cards import a_card, a_stage
from tests.factories.timebook import a_booking

pytestmark = pytest.mark.django_db


@pytest.fixture
def stage(now):
    now.at(14)
    return a_stage(a_card())


def form(**fields):
    return {"once": str(uuid.uuid4())} | fields


def said(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def where(stage, tail=""):
    return f"/cards/{stage.card_id}/stages/{stage.pk}/{tail}"


def test_two_taps_to_be_on_the_clock_and_two_to_be_off(client, mechanic, stage, now):
    client.force_login(mechanic)
    assert "Start and clock on" in said(client.get(where(stage)))
    sent = form(next="/hours/mine/")
    page = client.post(where(stage, "clock-on/"), sent, follow=True)
    assert page.redirect_chain == [("/hours/mine/", 303)]
    assert "Clocked on." in said(page)
    client.post(where(stage, "clock-on/"), sent)  # double click
    assert "Your clock runs on this stage already." in said(client.post(where(stage, "clock-on/"), form(), follow=True))
    assert TimeBooking.objects.count() == 1
    now.at(15)
    assert "Clocked off." in said(client.post("/hours/clock-off/", form(), follow=True))
    assert "Your clock isn&#x27;t running." in said(client.post("/hours/clock-off/", form(), follow=True))
    assert "1.00 h" in said(client.get("/hours/mine/"))


def test_ones_own_hours_are_one_entry_of_the_menu(client, owner, now):
    now.at(9)
    client.force_login(owner)
    page = client.get("/hours/mine/").content.decode()
    current = re.findall(r'<a href="([^"]+)" aria-current="page"', page)
    assert set(current) == {"/hours/mine/"}


def test_a_mechanic_stays_in_the_shell_of_the_bench(client, mechanic, office, stage):
    client.force_login(mechanic)
    for path in ("/cards/", "/hours/mine/", "/hours/book/", f"/cards/{stage.card_id}/history/", where(stage, "hold/")):
        assert 'class="bench-nav"' in client.get(path).content.decode(), path
    client.force_login(office)
    assert 'class="bench-nav"' not in client.get("/cards/").content.decode()


def test_a_second_clock_asks_first(client, mechanic, stage, now):
    client.force_login(mechanic)
    other = a_stage(a_card(), "Clean")
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(14, 30)
    asked = client.post(where(other, "clock-on/"), form())
    assert asked.status_code == 409
    assert "Your clock runs elsewhere" in said(asked)
    assert queries.running_of(mechanic).stage == stage
    assert client.post(where(other, "clock-on/"), form(close_running="1")).status_code == 303
    assert queries.running_of(mechanic).stage == other
    assert TimeBooking.objects.filter(stage=stage, ended_at=now.moment).exists()


def test_the_owner_is_asked_why_when_clocking_on_out_of_order(client, owner, mechanic, office, stage):
    second = a_stage(stage.card, "Clean")
    cards.set_after(second.pk, [stage.pk], by=office)
    client.force_login(mechanic)
    assert "comes after stage 1" in said(client.post(where(second, "clock-on/"), form(), follow=True))
    client.force_login(owner)
    assert "Why start it all the same?" in said(client.post(where(second, "clock-on/"), form()))
    assert client.post(where(second, "clock-on/"), form(override_reason="Two hands free")).status_code == 303
    assert Stage.objects.get(pk=second.pk).override_by == owner


def test_the_office_books_and_corrects(client, office, mechanic, stage):
    client.force_login(office)
    number = stage.card.number
    assert "There is no card 19-0001" in said(client.get("/hours/book/", {"card": "19-0001"}))
    book = f"/hours/book/?card={number}"
    typed = {
        "person_id": mechanic.pk, "stage_id": stage.pk, "started_at": "2026-11-26T08:00", "ended_at": "2026-11-26T12:30",
        "break_minutes": "", "reason": "On paper",
    }  # fmt: skip
    wrong = client.post(book, form(**typed | {"ended_at": "2026-11-26T07:00"}))
    assert wrong.status_code == 422
    assert "The end lies before the start." in said(wrong)
    assert "On paper" in wrong.content.decode()
    done = client.post(book, form(**typed), follow=True)
    assert "Hours booked." in said(done)
    assert "4.00 h" in said(done)
    row = TimeBooking.objects.get()
    correct = f"/hours/{row.pk}/correct/"
    assert "4.00 h" in said(client.get(correct))
    assert client.post(correct, form(**typed | {"ended_at": "2026-11-26T10:00", "reason": "Left"})).status_code == 303
    back = client.post(correct, form(**typed | {"reason": "Back button"}))
    assert back.status_code == 422
    assert "corrected already" in said(back)
    newest = TimeBooking.objects.get(superseded_at__isnull=True)
    assert client.post(f"/hours/{newest.pk}/take-out/", form(reason="Was ill")).status_code == 303
    assert not queries.bookings().exists()


def test_a_mechanic_books_only_their_own(client, mechanic, mechanic2, stage):
    client.force_login(mechanic)
    book = f"/hours/book/?card={stage.card.number}"
    assert "Who worked" not in said(client.get(book))
    typed = form(
        person_id=mechanic2.pk,
        stage_id=stage.pk,
        started_at="2026-11-26T08:00",
        ended_at="2026-11-26T09:00",
        reason="x",
    )
    assert client.post(book, typed).status_code == 303
    assert TimeBooking.objects.get().person == mechanic
    theirs = a_booking(mechanic2, stage, *_between(stage, 9, 10))
    for tail in ("correct/", "take-out/"):
        assert client.get(f"/hours/{theirs.pk}/{tail}").status_code == 404
    assert client.post(f"/hours/{theirs.pk}/stop/", form()).status_code == 404
    assert client.get("/hours/").status_code == 403
    assert client.get(f"/hours/people/{mechanic2.pk}/").status_code == 403


def _between(stage, first, last):
    day = stage.card.opened_at
    return day.replace(hour=first), day.replace(hour=last)


def test_the_office_sees_who_is_on_the_clock_and_what_was_forgotten(client, office, mechanic, mechanic2, stage, now):
    client.force_login(office)
    assert "No hours here." in said(client.get("/hours/"))
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(9, day=27)
    actions.close_forgotten()
    actions.clock_on(by=mechanic2, stage_id=stage.pk)
    page = said(client.get("/hours/"))
    assert "1 clock was still running long after" in page
    assert "Forgotten: ended with the day" in page
    assert "On the clock now Brann Oakes" in page
    assert "Brann Oakes" not in said(client.get("/hours/", {"person": mechanic.pk, "flagged": "on"})).split("Break")[-1]
    running = queries.running_of(mechanic2)
    now.at(10, day=27)
    assert client.post(f"/hours/{running.pk}/stop/", form()).status_code == 303
    assert queries.running_of(mechanic2) is None
    for week in ("2026-11-20", "rubbish", "9999-12-31", "2026-02-30"):
        assert client.get(f"/hours/people/{mechanic.pk}/", {"week": week}).status_code == 200


def test_finish_hand_over_and_cancel_see_to_the_clocks(client, owner, mechanic, stage, now):
    client.force_login(owner)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    assert "Still clocked on" in said(client.post(where(stage, "finish/"), form(), follow=True))
    card = f"/cards/{stage.card_id}/"
    asked = client.post(card + "cancel/", form(reason="Sold"))
    assert asked.status_code == 422
    assert "The clock still runs: Jory Vane" in said(asked)
    now.at(15)
    actions.finish_stage(stage.pk, by=mechanic)
    assert client.post(card + "finish/", form()).status_code == 303
    assert "Handed over." in said(client.post(card + "hand-over/", form(), follow=True))


def test_a_chargeable_stage_finished_within_seconds_says_that_no_hours_stand_on_it(
    client, api, owner, mechanic, stage, now
):
    warning = "the invoice leaves it out"
    client.force_login(mechanic)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    page = client.post(where(stage, "finish/"), form(), follow=True)  # the same second
    assert "Finished." in said(page)
    assert warning in said(page)
    assert "Finished without hours" in said(client.get(where(stage)))
    assert api(owner).get(f"/api/v1/cards/{stage.card_id}/hours/").json()["stages"][0]["missing"] is True
    other = a_stage(stage.card, "Clean")
    actions.clock_on(by=mechanic, stage_id=other.pk)
    now.at(15)
    assert warning not in said(client.post(where(other, "finish/"), form(), follow=True))
    free = a_stage(stage.card, "Look at it for free", chargeable=False)
    actions.clock_on(by=mechanic, stage_id=free.pk)
    assert warning not in said(client.post(where(free, "finish/"), form(), follow=True))


def test_more_bookings_take_no_more_queries(client, office, mechanic, stage):
    client.force_login(office)

    def count(path):
        with CaptureQueriesContext(connection) as seen:
            assert client.get(path).status_code == 200
        return len(seen)

    paths = ("/hours/", f"/hours/people/{mechanic.pk}/", f"/cards/{stage.card_id}/")
    a_booking(mechanic, stage, *_between(stage, 8, 9))
    few = [count(p) for p in paths]
    for hour in range(9, 13):
        a_booking(mechanic, a_stage(stage.card, f"S{hour}"), *_between(stage, hour, hour + 1))
    assert [count(p) for p in paths] == few


def test_only_the_owner_sees_what_hours_cost(client, owner, office, mechanic, stage):
    a_booking(mechanic, stage, *_between(stage, 8, 9))
    for person, sees in ((owner, True), (office, False), (mechanic, False)):
        client.force_login(person)
        page = said(client.get(f"/cards/{stage.card_id}/"))
        assert ("24.00" in page) is sees
