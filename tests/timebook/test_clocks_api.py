import pytest

from jobs.cards.models import Stage
from jobs.timebook.models import TimeBooking
from tests.factories.cards import a_card, a_stage

pytestmark = pytest.mark.django_db


def test_clocking_on_starts_the_stage_and_off_takes_the_break(api, mechanic, owner, now):
    stage = a_stage(a_card())
    bench = api(mechanic)
    now.at(11)
    on = bench.post(f"stages/{stage.pk}/clock-on/")
    assert on.status_code == 200, on.content
    assert on.json()["ended_at"] is None
    assert Stage.objects.get(pk=stage.pk).started_by == mechanic
    now.at(14, 15)
    off = bench.post("time-bookings/clock-off/").json()
    assert (off["hours"], off["break_minutes"], off["flagged_at"]) == ("2.75", 30, None)
    assert "cost_per_hour" not in off
    again = bench.post("time-bookings/clock-off/")
    assert (again.status_code, again.json()["type"]) == (409, "/api/problems/no-clock")
    assert api(owner).get(f"time-bookings/{off['id']}/").json()["cost_per_hour"] == "24"
    spent = api(owner).get(f"cards/{stage.card_id}/hours/").json()
    assert (spent["booked"], spent["standard"], spent["cost"]) == ("2.75", "2", "66.00")
    assert spent["stages"][0]["over"] == "0.75"
    assert "cost" not in bench.get(f"cards/{stage.card_id}/hours/").json()


def test_a_second_clock_asks_before_it_closes_the_first(api, mechanic, now):
    card = a_card()
    first, second = a_stage(card, "Strip"), a_stage(card, "Clean")
    bench = api(mechanic)
    running = bench.post(f"stages/{first.pk}/clock-on/").json()
    now.at(9, 40)
    asked = bench.post(f"stages/{second.pk}/clock-on/")
    assert (asked.status_code, asked.json()["type"]) == (409, "/api/problems/clock-running")
    assert asked.json()["facts"]["booking_id"] == running["id"]
    assert Stage.objects.get(pk=second.pk).started_at is None
    assert bench.post(f"stages/{second.pk}/clock-on/", {"close_running": True}).status_code == 200
    closed = bench.get(f"time-bookings/{running['id']}/").json()
    assert (closed["ended_at"], closed["hours"]) == ("2026-11-26T09:40:00Z", "0.6667")
    assert TimeBooking.objects.filter(ended_at__isnull=True).get().started_at == now.moment
