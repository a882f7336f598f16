"""When people are at work, apart from what they book on stages."""

import uuid
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from jobs.books import actions as books
from jobs.cards.models import Stage
from jobs.timebook import actions, presence
from jobs.timebook.models import Attendance, TimeBooking
from shop.business.models import Business
from tests.factories.cards import a_card, a_stage
from tests.factories.timebook import THURSDAY, an_attendance

pytestmark = pytest.mark.django_db


def form(**fields):
    return {"once": str(uuid.uuid4())} | fields


def test_here_and_gone_with_the_shops_break_and_the_clock_that_runs(api, mechanic, now):
    bench = api(mechanic)
    now.at(8)
    came = bench.post("attendances/arrive/")
    assert (came.status_code, came.json()["left_at"], came.json()["kind"]) == (200, None, "pressed")
    again = bench.post("attendances/arrive/")
    assert (again.status_code, again.json()["type"]) == (409, "/api/problems/here-already")
    stage = a_stage(a_card())
    running = bench.post(f"stages/{stage.pk}/clock-on/").json()
    now.at(16, 30)
    went = bench.post("attendances/leave/").json()
    assert (went["hours"], went["break_minutes"], went["flagged_at"]) == ("8", 30, None)
    assert went["stopped_booking_id"] == running["id"]
    assert bench.get(f"time-bookings/{running['id']}/").json()["ended_at"] == went["left_at"] == "2026-11-26T16:30:00Z"
    twice = bench.post("attendances/leave/")
    assert (twice.status_code, twice.json()["type"]) == (409, "/api/problems/not-here")


def test_a_clock_runs_without_attendance_and_nothing_is_invented(api, mechanic, now):
    stage = a_stage(a_card())
    assert api(mechanic).post(f"stages/{stage.pk}/clock-on/").status_code == 200
    assert api(mechanic).post("time-bookings/clock-off/").status_code == 200
    assert not Attendance.objects.exists()


def test_by_hand_corrected_and_taken_out_each_as_a_new_row(api, mechanic, office, now):
    now.at(18)
    bench = api(mechanic)
    noted = bench.post(
        "attendances/",
        {"arrived_at": "2026-11-26T08:00:00Z", "left_at": "2026-11-26T12:00:00Z", "reason": "Forgot"},
    ).json()
    assert (noted["hours"], noted["kind"], noted["person_id"]) == ("4", "manual", mechanic.pk)
    better = bench.post(
        f"attendances/{noted['id']}/correct/", {"left_at": "2026-11-26T13:00:00Z", "reason": "An hour more"}
    ).json()
    assert (better["hours"], better["break_minutes"], better["corrects_id"]) == ("4.5", 30, noted["id"])
    stale = bench.post(f"attendances/{noted['id']}/correct/", {"reason": "Again"})
    assert (stale.status_code, stale.json()["facts"]["attendance_id"]) == (409, better["id"])
    assert api(office).post(f"attendances/{better['id']}/take-out/", {"reason": "Was ill"}).status_code == 200
    assert bench.get("attendances/").json()["items"] == []
    kept = bench.get("attendances/", superseded="true").json()["items"]
    assert [x["reason"] for x in kept if x["reason"]] == ["Was ill", "An hour more", "Forgot"]
    gone = kept[0]["id"]
    assert bench.post(f"attendances/{gone}/correct/", {"reason": "x"}).json()["type"] == "/api/problems/taken-out"


@pytest.mark.parametrize(
    ("start", "end", "more", "status", "field"),
    [
        ("T08:00", "T08:00", {}, 400, "left_at"),
        ("T09:00", "T08:00", {}, 400, "left_at"),
        ("T17:00", "T19:00", {}, 400, "left_at"),  # the future
        ("T08:00", "T09:00", {"break_minutes": 60}, 400, "break_minutes"),
        ("T08:00", "T09:00", {"reason": "  "}, 400, "reason"),
        ("T08:00", "T09:00", {"reason": "x" * 201}, 400, "reason"),
        ("T08:00", "T09:00", {"person_id": 10**9}, 400, "person_id"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(api, owner, now, start, end, more, status, field):
    now.at(18)
    body = {"arrived_at": f"2026-11-26{start}:00Z", "left_at": f"2026-11-26{end}:00Z", "reason": "On paper"} | more
    answer = api(owner).post("attendances/", body)
    assert answer.status_code == status
    assert [e["pointer"] for e in answer.json()["errors"]] == [f"/{field}"]
    assert not Attendance.objects.exists()


def test_no_time_is_attended_twice_and_none_far_back_or_too_long(api, mechanic, now):
    now.at(18)
    first = an_attendance(mechanic, THURSDAY.replace(hour=8), THURSDAY.replace(hour=12))
    body = {"arrived_at": "2026-11-26T11:59:00Z", "left_at": "2026-11-26T13:00:00Z", "reason": "x"}
    answer = api(mechanic).post("attendances/", body)
    assert (answer.status_code, answer.json()["facts"]["attendance_id"]) == (409, first.pk)
    touching = body | {"arrived_at": "2026-11-26T12:00:00Z"}
    assert api(mechanic).post("attendances/", touching).status_code == 201
    long = body | {"arrived_at": "2026-11-24T08:00:00Z", "left_at": "2026-11-25T01:00:00Z"}
    assert "16 hours" in api(mechanic).post("attendances/", long).json()["errors"][0]["detail"]
    old = body | {"arrived_at": "2025-11-24T08:00:00Z", "left_at": "2025-11-24T09:00:00Z"}
    assert "more than a year back" in api(mechanic).post("attendances/", old).json()["errors"][0]["detail"]


def test_a_closed_month_takes_no_attendance_and_gives_none_back(api, mechanic, owner, now):
    now.at(18)
    row = an_attendance(mechanic, THURSDAY.replace(month=10, hour=8), THURSDAY.replace(month=10, hour=12))
    Business.objects.get_or_create(pk=1)
    books.close_month(by=owner, month=THURSDAY.date().replace(month=10, day=1))
    body = {"arrived_at": "2026-10-27T08:00:00Z", "left_at": "2026-10-27T09:00:00Z", "reason": "Late"}
    for answer in (
        api(mechanic).post("attendances/", body),
        api(mechanic).post(f"attendances/{row.pk}/correct/", {"reason": "x", "left_at": "2026-10-26T13:00:00Z"}),
        api(mechanic).post(f"attendances/{row.pk}/take-out/", {"reason": "x"}),
    ):
        assert answer.status_code in (400, 409), answer.content
    assert Attendance.objects.count() == 1


def test_others_are_seen_and_corrected_by_who_may(api, mechanic, mechanic2, office, stores, now):
    now.at(18)
    row = an_attendance(mechanic, THURSDAY.replace(hour=8), THURSDAY.replace(hour=12))
    assert api(mechanic2).get("attendances/").json()["items"] == []
    assert api(mechanic2).get(f"attendances/{row.pk}/").status_code == 404
    assert api(mechanic2).post(f"attendances/{row.pk}/correct/", {"reason": "x"}).status_code == 404
    assert api(stores).get("attendances/").status_code == 403
    body = {"arrived_at": "2026-11-26T13:00:00Z", "left_at": "2026-11-26T14:00:00Z", "reason": "x"}
    assert api(mechanic2).post("attendances/", body | {"person_id": mechanic.pk}).status_code == 403
    assert api(office).post("attendances/", body | {"person_id": mechanic.pk}).status_code == 201
    assert len(api(office).get("attendances/", person_id=mechanic.pk).json()["items"]) == 2


def test_a_forgotten_day_ends_with_the_shops_or_with_later_work_and_is_flagged(api, mechanic, mechanic2, office, now):
    now.at(8)
    for person in (mechanic, mechanic2):
        actions.arrive(by=person)
    now.at(17, 10)
    stage = a_stage(a_card())
    actions.clock_on(by=mechanic2, stage_id=stage.pk)
    now.at(18, 20)
    actions.clock_off(by=mechanic2)
    assert actions.close_forgotten_attendance() == 0
    now.at(19, 30)
    assert actions.close_forgotten_attendance() == 2
    assert actions.close_forgotten_attendance() == 0
    ended = {a.person_id: a for a in Attendance.objects.all()}
    assert ended[mechanic.pk].left_at == now.moment.replace(hour=17, minute=0)
    assert ended[mechanic2.pk].left_at == now.moment.replace(hour=18, minute=20)
    assert all(a.flagged_at == now.moment and a.break_minutes == 30 for a in ended.values())
    assert len(api(office).get("attendances/", flagged="true").json()["items"]) == 2


def test_who_forgot_yesterday_comes_today_all_the_same(mechanic, now):
    now.at(8)
    actions.arrive(by=mechanic)
    now.at(8, day=27)
    row = actions.arrive(by=mechanic)
    old = Attendance.objects.exclude(pk=row.pk).get()
    assert (old.left_at, bool(old.flagged_at)) == (THURSDAY.replace(hour=17), True)
    assert (row.arrived_at, row.left_at) == (now.moment, None)


def test_the_database_keeps_what_has_ended(mechanic, now):
    now.at(18)
    row = an_attendance(mechanic, THURSDAY.replace(hour=8), THURSDAY.replace(hour=12))
    for change in (
        lambda: Attendance.objects.filter(pk=row.pk).update(left_at=THURSDAY.replace(hour=13)),
        lambda: Attendance.objects.filter(pk=row.pk).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_a_day_with_a_change_of_the_clocks_is_as_long_as_it_was(mechanic, now):
    # in Ireland the clocks went back on 25 Oct 2026 at 01:00 UTC: 00:30 summer time to 02:30 winter time is three hours
    now.at(18)
    start = THURSDAY.replace(month=10, day=24, hour=23, minute=30)
    row = an_attendance(mechanic, start, start + timedelta(hours=3))
    assert presence.attended(row) == 3


def test_the_buttons_on_my_stages_and_my_hours(client, mechanic, now):
    now.at(8)
    client.force_login(mechanic)
    for path in ("/bench/", "/hours/mine/"):
        assert "/hours/here/" in client.get(path).content.decode()
    sent = form(next="/bench/")
    page = client.post("/hours/here/", sent, follow=True)
    assert "You are here." in page.content.decode()
    client.post("/hours/here/", sent)
    assert "You are here already" in client.post("/hours/here/", form(), follow=True).content.decode()
    assert Attendance.objects.count() == 1
    stage = a_stage(a_card())
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(16)
    assert "stops your clock too" in client.get("/bench/").content.decode()
    said = client.post("/hours/gone/", form(next="/hours/mine/"), follow=True).content.decode()
    assert "was still running: it stopped at the same moment" in said
    assert TimeBooking.objects.get().ended_at == now.moment
    assert "7.50\xa0h" in said


def test_the_pages_note_correct_and_take_out(client, office, mechanic, now):
    now.at(18)
    client.force_login(office)
    wrong = client.post("/hours/attendance/note/", form(person_id=mechanic.pk, arrived_at="x", left_at="", reason=""))
    assert wrong.status_code == 422
    sent = form(person_id=mechanic.pk, arrived_at="2026-11-26T08:00", left_at="2026-11-26T12:00", reason="Forgot")
    assert client.post("/hours/attendance/note/", sent).status_code == 303
    row = Attendance.objects.get()
    assert client.get(f"/hours/attendance/{row.pk}/correct/").status_code == 200
    sent = form(arrived_at="2026-11-26T08:00", left_at="2026-11-26T11:00", reason="Went sooner")
    assert client.post(f"/hours/attendance/{row.pk}/correct/", sent).status_code == 303
    newer = Attendance.objects.get(corrects=row)
    text = client.get(f"/hours/people/{mechanic.pk}/", {"week": "2026-11-26"}).content.decode()
    assert "Went sooner" in text
    assert client.get("/hours/attendance/", {"person": mechanic.pk, "flagged": ""}).status_code == 200
    assert client.post(f"/hours/attendance/{newer.pk}/take-out/", form(reason="Ill")).status_code == 303
    assert (
        "Nothing in this week." in client.get(f"/hours/people/{mechanic.pk}/", {"week": "2026-11-26"}).content.decode()
    )


def test_the_list_asks_as_often_for_many_as_for_one(client, office, mechanic, mechanic2, now):
    now.at(18)
    client.force_login(office)
    an_attendance(mechanic, THURSDAY.replace(hour=8), THURSDAY.replace(hour=12))
    client.get("/hours/attendance/")
    with CaptureQueriesContext(connection) as one:
        client.get("/hours/attendance/")
    for person in (mechanic, mechanic2):
        for hour in (13, 14, 15):
            an_attendance(person, THURSDAY.replace(hour=hour), THURSDAY.replace(hour=hour, minute=50))
    with CaptureQueriesContext(connection) as many:
        client.get("/hours/attendance/")
    assert len(many) == len(one)
    assert not Stage.objects.exists()
