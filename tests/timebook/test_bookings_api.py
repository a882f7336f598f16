from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.timebook import actions, queries
from jobs.timebook.models import TimeBooking
from shop.kernel import clock
from shop.trail.models import TrailRow
from tests.factories.cards import a_card, a_stage
from tests.factories.timebook import a_booking

pytestmark = pytest.mark.django_db


@pytest.fixture
def stage(now):
    now.at(18)
    return a_stage(a_card())


def times(start="08:00", end="10:00", day="2026-11-26"):
    return {"started_at": f"{day}T{start}:00Z", "ended_at": f"{day}T{end}:00Z"}


def book(client, stage, reason="Forgot to clock on", **more):
    return client.post("time-bookings/", {"stage_id": stage.pk, "reason": reason} | times() | more)


def test_booking_by_hand_starts_the_stage_when_it_was_begun(api, mechanic, stage):
    made = book(api(mechanic), stage, **times("11:00", "14:00"))
    assert made.status_code == 201, made.content
    assert (made.json()["hours"], made.json()["break_minutes"], made.json()["kind"]) == ("2.5", 30, "manual")
    row = Stage.objects.get(pk=stage.pk)
    assert row.started_at.isoformat() == "2026-11-26T11:00:00+00:00"
    assert row.mechanic == mechanic


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        (times("10:00", "10:00"), "/ended_at"),
        (times("10:00", "09:00"), "/ended_at"),
        (times("17:00", "18:30"), "/ended_at"),
        (times("01:00", "17:30"), "/ended_at"),
        (times(day="2025-11-20"), "/started_at"),
        ({"break_minutes": 120}, "/break_minutes"),
        ({"break_minutes": -1}, "/break_minutes"),
        ({"reason": " "}, "/reason"),
        ({"stage_id": 99999}, "/stage_id"),
        ({"started_at": "2026-11-26T08:00:00"}, "/started_at"),
        ({"cost_per_hour": "1"}, "/cost_per_hour"),
        ({"kind": "clock"}, "/kind"),
    ],
)
def test_bad_times_book_nothing(api, mechanic, stage, more, pointer):
    answer = book(api(mechanic), stage, **more)
    assert answer.status_code == 400, answer.content
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not TimeBooking.objects.exists()
    assert Stage.objects.get(pk=stage.pk).started_at is None


def test_an_overlap_names_the_other_booking(api, mechanic, mechanic2, office, stage):
    first = book(api(mechanic), stage).json()
    assert book(api(mechanic), stage, **times("10:00", "11:00")).status_code == 201
    refused = book(api(mechanic), stage, **times("09:59", "10:30"))
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/overlap")
    assert refused.json()["facts"]["booking_id"] == first["id"]
    assert "from 26 Nov 2026 08:00 to 10:00" in refused.json()["detail"]
    for_other = {"person_id": mechanic2.pk}
    assert book(api(office), stage, **for_other).status_code == 201
    assert book(api(office), stage, **for_other).status_code == 409
    assert TimeBooking.objects.count() == 3


def test_a_running_clock_overlaps_everything_after_it(api, mechanic, stage, now):
    now.at(14)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(16)
    refused = book(api(mechanic), stage, **times("14:30", "15:00"))
    assert "(still running)" in refused.json()["detail"]
    assert book(api(mechanic), stage, **times("13:00", "14:00")).status_code == 201


def test_hours_of_others(api, mechanic, mechanic2, office, stores, owner, stage):
    other = {"person_id": mechanic2.pk}
    assert book(api(mechanic), stage, **other).status_code == 403
    assert book(api(stores), stage).status_code == 403
    assert book(api(office), stage).json()["errors"][0]["pointer"] == "/person_id"  # the office works on no stage
    made = book(api(office), stage, **other).json()
    assert made["person"] == "Brann Oakes"
    assert api(mechanic).get(f"time-bookings/{made['id']}/").status_code == 404
    assert api(mechanic).post(f"time-bookings/{made['id']}/correct/", {"reason": "x"}).status_code == 404
    assert api(mechanic).post(f"time-bookings/{made['id']}/take-out/", {"reason": "x"}).status_code == 404
    assert api(mechanic).get("time-bookings/").json()["items"] == []
    assert api(mechanic).get("time-bookings/", person_id=mechanic2.pk).json()["items"] == []
    assert len(api(office).get("time-bookings/", person_id=mechanic2.pk).json()["items"]) == 1
    assert "cost_per_hour" not in api(office).get(f"time-bookings/{made['id']}/").json()
    assert api(owner).get(f"time-bookings/{made['id']}/").json()["cost_per_hour"] == "24"


def test_a_correction_is_a_new_row(api, mechanic, owner, stage):
    client = api(mechanic)
    old = book(client, stage).json()
    Stage.objects.filter(pk=stage.pk).update(mechanic=None)
    mechanic.cost_per_hour = "30"
    mechanic.save()
    new = client.post(f"time-bookings/{old['id']}/correct/", times("09:00", "11:00") | {"reason": "Wrong hour"}).json()
    assert (new["corrects_id"], new["hours"], new["reason"]) == (old["id"], "2", "Wrong hour")
    assert client.get(f"time-bookings/{old['id']}/").json()["superseded_at"] is not None
    assert [b["id"] for b in client.get("time-bookings/").json()["items"]] == [new["id"]]
    assert len(client.get("time-bookings/", superseded="true").json()["items"]) == 2
    cost = api(owner).get(f"cards/{stage.card_id}/hours/").json()["cost"]
    assert cost == "48.00"  # at what an hour cost when it was booked
    again = client.post(f"time-bookings/{old['id']}/correct/", {"reason": "Twice"})
    assert (again.json()["type"], again.json()["facts"]) == ("/api/problems/superseded", {"booking_id": new["id"]})
    row = TrailRow.objects.get(verb="time.corrected")
    assert (row.root_id, row.detail["reason"]) == (stage.card_id, "Wrong hour")


def test_a_correction_keeps_to_the_rules(api, mechanic, stage):
    client = api(mechanic)
    first = book(client, stage).json()
    book(client, stage, **times("10:00", "11:00"))
    refused = client.post(f"time-bookings/{first['id']}/correct/", times("09:00", "10:30") | {"reason": "x"})
    assert refused.json()["type"] == "/api/problems/overlap"
    assert client.get(f"time-bookings/{first['id']}/").json()["superseded_at"] is None
    longer = client.post(f"time-bookings/{first['id']}/correct/", times("07:00", "10:00") | {"reason": "Earlier"})
    assert longer.json()["hours"] == "3"


def test_hours_moved_to_another_card_stand_in_both_histories(api, mechanic, office, stage):
    other = a_stage(a_card())
    old = book(api(mechanic), stage).json()
    moved = api(mechanic).post(f"time-bookings/{old['id']}/correct/", {"stage_id": other.pk, "reason": "Other engine"})
    assert (moved.json()["card_id"], moved.json()["hours"]) == (other.card_id, "2")
    gone = api(office).get(f"cards/{stage.card_id}/history/").json()["items"][0]
    assert gone["what"].startswith("Moved hours of Jory Vane")
    assert gone["why"] == "Other engine"


def test_taking_hours_out(api, mechanic, stage, now):
    client = api(mechanic)
    old = book(client, stage).json()
    out = client.post(f"time-bookings/{old['id']}/take-out/", {"reason": "Was on holiday"})
    assert (out.status_code, out.json()["hours"]) == (200, "0")
    assert client.get("time-bookings/").json()["items"] == []
    assert (
        client.post(f"time-bookings/{out.json()['id']}/correct/", {"reason": "x"}).json()["type"].endswith("taken-out")
    )
    assert book(client, stage).status_code == 201  # the time is free again
    running = actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(18, 10)
    assert client.post(f"time-bookings/{running.pk}/take-out/", {"reason": "Wrong stage"}).status_code == 200
    assert queries.running_of(mechanic) is None


def test_work_that_needs_a_go_ahead_takes_no_hours_without(api, mechanic, office, stage):
    rework = cards.add_stage(stage.card_id, by=office, name="Lap valves", kind="rework")
    refused = book(api(mechanic), rework)
    assert refused.json()["type"] == "/api/problems/go-ahead-missing"
    assert api(mechanic).post(f"stages/{rework.pk}/clock-on/").json()["type"] == "/api/problems/go-ahead-missing"
    assert not TimeBooking.objects.exists()


def test_after_hand_over_only_the_office_books(api, mechanic, office, stage):
    cards.start_stage(stage.pk, by=mechanic)
    cards.finish_stage(stage.pk, by=mechanic)
    assert book(api(mechanic), stage).status_code == 201  # finished work may still get its hours
    cards.finish_card(stage.card_id, by=office)
    actions.hand_over(stage.card_id, by=office)
    later = times("10:00", "11:00")
    assert book(api(mechanic), stage, **later).status_code == 403
    assert book(api(office), stage, person_id=mechanic.pk, **later).status_code == 201


def test_a_forgotten_clock_is_ended_with_the_day_and_flagged(api, office, mechanic, stage, now):
    now.at(13)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(18, 30)
    assert actions.close_forgotten() == 0
    now.at(7, day=27)
    assert actions.close_forgotten() == 1
    assert actions.close_forgotten() == 0
    row = TimeBooking.objects.get()
    assert (row.ended_at.hour, str(queries.worked(row))) == (17, "4.0000")
    flagged = api(office).get("time-bookings/", flagged="true").json()["items"]
    assert [b["id"] for b in flagged] == [row.pk]
    fixed = {"ended_at": "2026-11-26T15:00:00Z", "reason": "Left at three"}
    assert api(office).post(f"time-bookings/{row.pk}/correct/", fixed).json()["hours"] == "2"
    assert list(queries.flagged()) == []


def test_clocking_off_a_forgotten_clock_does_not_book_the_night(api, mechanic, stage, now):
    now.at(13)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    now.at(8, day=27)
    off = api(mechanic).post("time-bookings/clock-off/").json()
    assert (off["ended_at"], off["hours"]) == ("2026-11-26T17:00:00Z", "4")
    assert off["flagged_at"] is not None


def test_work_that_stops_stops_its_clocks(api, mechanic, mechanic2, office, stage, now):
    now.at(9)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    actions.clock_on(by=mechanic2, stage_id=stage.pk)
    now.at(10)
    refused = api(mechanic).post(f"stages/{stage.pk}/finish/")
    assert "Still clocked on to stage 1 “Strip”: Brann Oakes." in refused.json()["detail"]
    assert Stage.objects.get(pk=stage.pk).finished_at is None
    assert api(mechanic).post(f"cards/{stage.card_id}/hold/", {"reason": "parts"}).status_code == 200
    assert not queries.running().exists()
    assert api(office).post(f"cards/{stage.card_id}/resume/").status_code == 200
    now.at(11)
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    cancel = api(office).post(f"cards/{stage.card_id}/cancel/", {"reason": "Sold"})
    assert cancel.json()["type"] == "/api/problems/clock-running"
    now.at(11, 30)
    assert api(mechanic).post(f"stages/{stage.pk}/finish/").json()["state"] == "finished"
    assert queries.hours_of_card(stage.card_id).booked == Decimal("2.5")  # two of them an hour, then one half an hour
    assert api(office).post(f"cards/{stage.card_id}/cancel/", {"reason": "Sold"}).json()["state"] == "cancelled"


def test_hours_at_cost_say_what_has_no_price(owner, office, mechanic, mechanic2, stage):
    mechanic2.cost_per_hour = None
    mechanic2.save()
    a_booking(mechanic, stage, *_between(8, 9))
    a_booking(mechanic2, stage, *_between(8, 10))
    cost = queries.hours_cost(stage.card_id)
    assert (str(cost.amount), cost.hours, cost.unpriced) == ("24.00", 3, 2)


def _between(first, last):
    day = clock.now()
    return day.replace(hour=first), day.replace(hour=last)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE jobs_timebook_timebooking SET break_minutes = 1",
        "UPDATE jobs_timebook_timebooking SET ended_at = started_at",
        "DELETE FROM jobs_timebook_timebooking",
    ],
)
def test_the_database_refuses_to_change_ended_hours(mechanic, stage, change):
    a_booking(mechanic, stage, *_between(8, 9))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(change)


def test_more_bookings_take_no_more_queries(api, office, mechanic, stage):
    client = api(office)

    def count():
        with CaptureQueriesContext(connection) as seen:
            assert client.get("time-bookings/").status_code == 200
        return len(seen)

    a_booking(mechanic, stage, *_between(8, 9))
    few = count()
    for hour in range(9, 15):
        a_booking(mechanic, a_stage(a_card(), f"S{hour}"), *_between(hour, hour + 1))
    assert count() == few
