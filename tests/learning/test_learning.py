"""From hours booked on cards to the standard hours of a plan, through pages and API."""

import re
import uuid
from decimal import Decimal as D
from importlib import import_module

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.learning import actions, hours, queries
from jobs.learning.models import PlanSaid
from jobs.plans.drafts import StageDraft
from jobs.plans.models import PlanStage
from shop.kernel.errors import BadInput, Refused
from shop.trail.models import TrailRow
from tests.factories.cards import a_card
from tests.factories.plans import plan
from tests.factories.timebook import a_booking

pytestmark = pytest.mark.django_db


@pytest.fixture
def top_end(now):
    now.at(17)
    return plan(
        name="Top-end rebuild",
        stages=(
            StageDraft("Strip", "strip", D("2"), needs_go_ahead=False),
            StageDraft("Fit", "fit", D("4"), needs_go_ahead=False),
        ),
    )


def done(now, top_end, mechanic, day: int, strip: int, fit: int) -> list[Stage]:
    """A card by the plan, its two stages booked for so many hours on a day and finished."""
    now.at(8, day=day)
    card = a_card(plan_ids=[top_end.pk])
    first, second = card.stages.order_by("position")
    start = now.at(8, day=day)
    middle, end = now.at(8 + strip, day=day), now.at(8 + strip + fit, day=day)
    now.at(18, day=day)
    for stage, since, until in ((first, start, middle), (second, middle, end)):
        a_booking(mechanic, stage, since, until)
        cards.finish_stage(stage.pk, by=mechanic)
    cards.finish_card(card.pk, by=card.opened_by)
    return [first, second]


def words(answer) -> str:
    text = " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())
    return text.replace("\u00a0", " ")


def browser(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def press(client, path, **data):
    return client.post(path, {"once": str(uuid.uuid4()), **data})


def test_a_card_remembers_which_stage_of_the_plan_it_came_from(top_end):
    card = a_card(plan_ids=[top_end.pk])
    assert [s.plan_stage.name for s in card.stages.order_by("position")] == ["Strip", "Fit"]
    PlanStage.objects.filter(plan=top_end).delete()
    assert list(card.stages.values_list("plan_stage", flat=True)) == [None, None]


def test_hours_booked_move_the_likely_figure(now, top_end, mechanic, api, office):
    stage = top_end.stages.get(name="Strip")
    client = api(office)
    before = client.get(f"plan-stages/{stage.pk}/hours/").json()
    assert (before["likely"], before["jobs"], before["seen"]) == ("2", 0, [])
    for day in (23, 24, 25):
        done(now, top_end, mechanic, day, strip=3, fit=4)
    after = client.get(f"plan-stages/{stage.pk}/hours/").json()
    assert D("2.4") < D(after["likely"]) < D("3") < D(after["careful"])
    assert after["jobs"] == 3
    assert after["weight"] == "0.6"
    assert {s["factor"] for s in after["seen"]} == {"1.5"}
    fit = client.get(f"plan-stages/{top_end.stages.get(name='Fit').pk}/hours/").json()
    assert fit["likely"] < "4.3"
    assert client.get("plan-stages/999999/hours/").status_code == 404


def test_what_is_set_aside_does_not_count_until_it_is_brought_back(now, top_end, mechanic, office, api):
    first, _ = done(now, top_end, mechanic, 24, strip=6, fit=3)
    plan_stage = top_end.stages.get(name="Strip")
    with_it = queries.plan_stage(plan_stage.pk).learned
    client = api(office)
    refused = client.post(f"stages/{first.pk}/set-aside/", {"reason": " "})
    assert refused.status_code == 400
    answer = client.post(f"stages/{first.pk}/set-aside/", {"reason": "Crane broke down"}, key="aside-0001")
    assert answer.status_code == 200, answer.content
    again = client.post(f"stages/{first.pk}/set-aside/", {"reason": "Crane broke down"}, key="aside-0001")
    assert again.json() == answer.json()
    without = queries.plan_stage(plan_stage.pk)
    assert without.learned.jobs == 0
    assert without.learned.likely < with_it.likely
    assert without.seen[0].left_out == "Crane broke down"
    twice = client.post(f"stages/{first.pk}/set-aside/", {"reason": "Again"})
    assert twice.status_code == 409
    assert twice.json()["type"].endswith("already-set-aside")
    assert client.post(f"stages/{first.pk}/bring-back/").status_code == 200
    assert client.post(f"stages/{first.pk}/bring-back/").status_code == 409
    assert queries.plan_stage(plan_stage.pk).learned == with_it
    said = TrailRow.objects.filter(verb__startswith="learning.", subject_id=first.pk).order_by("id")
    assert [t.verb for t in said] == ["learning.set-aside", "learning.brought-back"]


def test_only_a_finished_stage_can_be_set_aside(top_end, office):
    stage = a_card(plan_ids=[top_end.pk]).stages.first()
    with pytest.raises(Refused, match="isn't finished"):
        actions.set_aside(stage.pk, by=office, reason="Too early")
    with pytest.raises(BadInput):
        actions.set_aside(stage.pk, by=office, reason="")


def test_the_likely_hours_become_the_standard(now, top_end, mechanic, office):
    for day in (23, 24, 25):
        done(now, top_end, mechanic, day, strip=4, fit=4)
    stage = top_end.stages.get(name="Strip")
    learned = queries.plan_stage(stage.pk).learned
    likely, careful = learned.likely, learned.careful
    client = browser(office)
    page = words(client.get(f"/plans/stages/{stage.pk}/hours/"))
    assert "3 jobs of our own count for 60 % of this, the plan for the rest." in page
    top_end.refresh_from_db()
    press(client, f"/plans/stages/{stage.pk}/hours/take/", version=str(top_end.version - 1))
    stage.refresh_from_db()
    assert stage.standard_hours == 2, "a stale page changes nothing"
    press(client, f"/plans/stages/{stage.pk}/hours/take/", version=str(top_end.version))
    stage.refresh_from_db()
    assert stage.standard_hours == actions.quarter(likely) == D("3.00")
    after = queries.plan_stage(stage.pk).learned
    assert (after.likely, after.careful) == (likely, careful), "no new job: the same jobs are not counted twice"
    page = words(client.get(f"/plans/stages/{stage.pk}/hours/"))
    assert "The plan counts with the 2.00 h that were typed into it: the standard hours, 3.00 h, were taken" in page
    assert "3.00 h typed: 2.00 h" in words(client.get(f"/plans/{top_end.pk}/"))


def test_pressing_again_without_a_new_job_changes_nothing(now, top_end, mechanic, office, api):
    """Three jobs of 4 h on a plan of 2 h: exp((2 ln 2 + 3 ln 4) / 5) = 3.03 h, whatever was taken from it before."""
    for day in (23, 24, 25):
        done(now, top_end, mechanic, day, strip=4, fit=4)
    stage = top_end.stages.get(name="Strip")
    client = api(office)
    assert client.post(f"plan-stages/{stage.pk}/take-likely/").json()["standard_hours"] == "3"
    said = client.get(f"plan-stages/{stage.pk}/hours/").json()
    assert (said["standard"], said["prior"], said["likely"], said["weight"]) == ("3", "2", "3.03", "0.6")
    again = client.post(f"plan-stages/{stage.pk}/take-likely/")
    assert (again.status_code, again.json()["type"].rsplit("/", 1)[-1]) == (409, "unchanged")
    stage.refresh_from_db()
    assert (stage.standard_hours, stage.prior_hours) == (3, 2)
    now.at(18)
    done(now, top_end, mechanic, 26, strip=4, fit=4)
    likely = client.get(f"plan-stages/{stage.pk}/hours/").json()["likely"]
    assert likely == "3.17", "a new job counts: exp((2 ln 2 + 4 ln 4) / 6)"


def test_hours_that_a_person_types_are_what_the_plan_says(now, top_end, mechanic, office, api):
    for day in (23, 24, 25):
        done(now, top_end, mechanic, day, strip=4, fit=4)
    stage = top_end.stages.get(name="Strip")
    client = api(office)
    client.post(f"plan-stages/{stage.pk}/take-likely/")
    whole = {"instructions": "Drain first", "standard_hours": "3"}  # as a form sends them, the hours as they were
    assert client.patch(f"plan-stages/{stage.pk}/", whole).json()["prior_hours"] == "2"
    typed = client.patch(f"plan-stages/{stage.pk}/", {"standard_hours": "5"}).json()
    assert (typed["standard_hours"], typed["prior_hours"]) == ("5", "5")
    likely = client.get(f"plan-stages/{stage.pk}/hours/").json()["likely"]
    assert likely == "4.37", "exp((2 ln 5 + 3 ln 4) / 5)"


def test_a_copy_of_a_plan_starts_from_what_was_learnt(now, top_end, mechanic, office, api):
    """No job was done by the copy, so none can be counted twice: the hours it was given are what it says."""
    for day in (23, 24, 25):
        done(now, top_end, mechanic, day, strip=4, fit=4)
    client = api(office)
    client.post(f"plan-stages/{top_end.stages.get(name='Strip').pk}/take-likely/")
    copy = client.post(f"plans/{top_end.pk}/copy/", {"code": "TOP-NEW", "name": "Top end, new block"}).json()
    strip = copy["stages"][0]
    assert (strip["standard_hours"], strip["prior_hours"]) == ("3", "3")
    said = client.get(f"plan-stages/{strip['id']}/hours/").json()
    assert (said["likely"], said["jobs"]) == ("3", 0)


def test_nothing_learnt_nothing_taken(top_end, office, api):
    answer = api(office).post(f"plan-stages/{top_end.stages.first().pk}/take-likely/")
    assert answer.status_code == 409
    assert answer.json()["type"].endswith("nothing-learnt")


def test_pages_show_it(now, top_end, mechanic, office):
    client = browser(office)
    assert "Nothing yet: no stage of this plan was finished" in words(client.get(f"/plans/{top_end.pk}/"))
    first, _ = done(now, top_end, mechanic, 24, strip=3, fit=4)
    plan_page = words(client.get(f"/plans/{top_end.pk}/"))
    assert "What the shop's own hours say" in plan_page
    card_page = words(client.get(f"/cards/{first.card_id}/"))
    assert "What it took" in card_page
    form = client.get(f"/cards/{first.card_id}/stages/{first.pk}/set-aside/")
    assert "Why these hours say nothing about the next job" in words(form)
    empty = press(client, f"/cards/{first.card_id}/stages/{first.pk}/set-aside/", reason="")
    assert empty.status_code == 422
    press(client, f"/cards/{first.card_id}/stages/{first.pk}/set-aside/", reason="Flood in the yard")
    page = words(client.get(f"/plans/stages/{first.plan_stage_id}/hours/"))
    assert "Set aside Flood in the yard" in page
    assert client.get(f"/cards/{first.card_id + 1}/stages/{first.pk}/set-aside/").status_code == 404


def test_queries_stay_the_same_with_more_jobs(now, top_end, mechanic):
    done(now, top_end, mechanic, 23, 2, 4)
    with CaptureQueriesContext(
        connection,
    ) as few:
        queries.of_plan(top_end.pk)
    for day in (24, 25, 26):
        done(now, top_end, mechanic, day, 2, 4)
    with CaptureQueriesContext(connection) as many:
        queries.of_plan(top_end.pk)
    assert len(many) == len(few) <= 5


def test_how_far_stages_go_together_is_about_the_own_mean_of_each(now, top_end, mechanic):
    """Both stages take 1, 2 and 1 h on the same cards, one of a plan of 2 h and one of 4: all of it is shared. The correlation 1
    of 3 cards, drawn to 0.3 with the weight of 10."""
    assert queries.together() == hours.PRIOR_TOGETHER
    for day, took in ((23, 1), (24, 2), (25, 1)):
        done(now, top_end, mechanic, day, strip=took, fit=took)
    with CaptureQueriesContext(connection) as few:
        assert queries.together() == pytest.approx((10 * 0.3 + 3 * 1) / 13)
    done(now, top_end, mechanic, 26, strip=2, fit=2)
    with CaptureQueriesContext(connection) as many:
        queries.together()
    assert len(many) == len(few) <= 4


def test_open_cards_from_before_go_on_from_what_their_plan_says(now, top_end, mechanic, office):
    """A shop that had no such rows: stages still to be done have them, those that are over need none."""
    done(now, top_end, mechanic, 23, strip=2, fit=2)
    waiting, given_up = a_card(plan_ids=[top_end.pk]), a_card(plan_ids=[top_end.pk])
    cards.cancel_card(given_up.pk, by=office, reason="Sold it")
    PlanSaid.objects.all().delete()
    import_module("jobs.learning.migrations.0002_plan_said").as_plans_stand(apps, None)
    kept = PlanSaid.objects.order_by("stage__position").values_list("stage__card", "standard_hours", "prior_hours")
    assert list(kept) == [(waiting.pk, 2, 2), (waiting.pk, 4, 4)]
