import pytest

from jobs.cards.models import JobCard, Stage
from shop.trail.models import TrailRow
from tests.factories import moments
from tests.factories.cards import a_card, a_machine, a_plan, a_stage

pytestmark = pytest.mark.django_db


def open_card(client, **more):
    return client.post("cards/", {"machine_id": a_machine().pk, "complaint": "Smokes white when cold."} | more)


def stages_of(client, card_id):
    return client.get("stages/", card_id=card_id).json()["items"]


def test_a_card_from_a_plan_worked_to_its_end(api, office, mechanic, owner):
    counter, bench = api(office), api(mechanic)
    made = open_card(counter, plan_ids=[a_plan().pk])
    assert made.status_code == 201, made.content
    card = made.json()
    assert (card["state"], card["waits_for"]) == ("in-shop", "")
    assert card["number"].endswith("-0001")
    strip, measure, fit = stages_of(bench, card["id"])
    assert [s["words"] for s in (strip, measure, fit)] == [
        "Can start", "Waits for stage 1", "Waits for the customer's go-ahead",
    ]  # fmt: skip
    assert [s["position"] for s in (strip, measure, fit)] == [1, 2, 3]
    assert measure["after_ids"] == [strip["id"]]

    early = bench.post(f"stages/{measure['id']}/start/")
    assert (early.status_code, early.json()["type"]) == (409, "/api/problems/needs-override")
    assert "comes after stage 1" in early.json()["detail"]
    started = bench.post(f"stages/{strip['id']}/start/")
    assert (started.json()["state"], started.json()["mechanic"]) == ("running", "Jory Vane")
    assert bench.post(f"stages/{strip['id']}/finish/").json()["state"] == "finished"
    assert bench.post(f"stages/{measure['id']}/start/").status_code == 200
    assert bench.post(f"stages/{measure['id']}/finish/").status_code == 200
    assert counter.get(f"cards/{card['id']}/").json()["waits_for"] == "the customer's go-ahead"

    stopped = bench.post(f"stages/{fit['id']}/start/")
    assert (stopped.status_code, stopped.json()["type"]) == (409, "/api/problems/go-ahead-missing")
    assert counter.post(f"cards/{card['id']}/finish/").status_code == 409

    from jobs.cards import actions
    from shop.kernel import clock

    actions.give_go_ahead([fit["id"]], ref="estimate 26-0001 revision 1", at=clock.now(), by=office)
    unsigned = bench.post(f"stages/{fit['id']}/start/")
    assert unsigned.json()["type"] == "/api/problems/gates-unsigned"
    assert "“Ports covered”" in unsigned.json()["detail"]
    ports, circlips = (g["id"] for g in fit["gates"])
    assert bench.post(f"gates/{ports}/sign/", {"note": "with tape"}).json()["signed_by"] == "Jory Vane"
    assert bench.post(f"gates/{ports}/sign/").status_code == 409
    assert bench.post(f"stages/{fit['id']}/start/").status_code == 200
    refused = bench.post(f"stages/{fit['id']}/finish/")
    assert refused.json()["facts"]["gate_ids"] == [circlips]
    assert bench.post(f"gates/{circlips}/sign/").status_code == 200
    assert bench.post(f"stages/{fit['id']}/finish/").status_code == 200

    assert counter.post(f"cards/{card['id']}/hand-over/").json()["type"] == "/api/problems/not-finished"
    assert counter.post(f"cards/{card['id']}/finish/").json()["state"] == "finished"
    assert counter.post(f"cards/{card['id']}/hand-over/").json()["state"] == "handed-over"
    assert (
        bench.post(f"stages/{fit['id']}/unfinish/", {"reason": "Leaks"}).json()["type"] == "/api/problems/card-closed"
    )

    history = counter.get(f"cards/{card['id']}/history/", order="oldest").json()["items"]
    said = [h["what"] for h in history]
    assert said[0] == "Opened the card for Brindlecote B2 B2-40417"
    assert "Signed “Ports covered” of stage 3 “Fit rings” (with tape)" in said
    assert said[-1] == "Handed the machine over"
    assert history[2]["by"] == "Jory Vane"


def test_an_owner_goes_past_the_order_with_a_reason(api, owner, mechanic):
    card = a_card()
    first, second = a_stage(card, "Strip"), a_stage(card, "Clean")
    from jobs.cards import actions

    actions.set_after(second.pk, [first.pk], by=card.opened_by)
    reason = {"override_reason": "The second pair of hands is free"}
    assert api(mechanic).post(f"stages/{second.pk}/start/", reason).status_code == 403
    assert Stage.objects.get(pk=second.pk).started_at is None
    assert api(owner).post(f"stages/{second.pk}/start/", reason).status_code == 200
    row = Stage.objects.get(pk=second.pk)
    assert (row.override_reason, row.override_by) == (reason["override_reason"], owner)
    assert TrailRow.objects.get(verb="stage.started").detail["reason"] == reason["override_reason"]


def test_a_reason_without_need_is_not_kept(api, owner):
    stage = a_stage(a_card())
    assert api(owner).post(f"stages/{stage.pk}/start/", {"override_reason": "hurry"}).status_code == 200
    assert Stage.objects.get(pk=stage.pk).override_reason == ""


def test_a_stage_for_one_kind_of_worker(api, mechanic, mechanic2):
    stage = a_stage(a_card(), done_by="machinist")
    refused = api(mechanic).post(f"stages/{stage.pk}/start/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/needs-override")
    mechanic2.labour_class = "Machinist"
    mechanic2.save()
    assert api(mechanic2).post(f"stages/{stage.pk}/start/").status_code == 200


def test_holding_a_stage_and_a_card(api, mechanic):
    bench, card = api(mechanic), a_card()
    stage = a_stage(card)
    assert bench.post(f"stages/{stage.pk}/hold/", {"reason": "other"}).json()["errors"][0]["pointer"] == "/note"
    held = bench.post(f"stages/{stage.pk}/hold/", {"reason": "parts", "note": "ring set, Friday"}).json()
    assert (held["state"], held["words"]) == ("held", "On hold: parts (ring set, Friday)")
    assert bench.post(f"stages/{stage.pk}/hold/", {"reason": "tool"}).status_code == 409
    assert bench.post(f"stages/{stage.pk}/start/").json()["type"] == "/api/problems/on-hold"
    shown = bench.get(f"cards/{card.pk}/").json()
    assert (shown["waits_for"], shown["waits_on"]) == ("parts (ring set, Friday)", "stores")
    assert bench.post(f"stages/{stage.pk}/resume/").json()["state"] == "can-start"
    assert bench.post(f"stages/{stage.pk}/resume/").status_code == 409
    assert bench.post(f"cards/{card.pk}/hold/", {"reason": "go-ahead"}).json()["waits_on"] == "customer"
    assert bench.post(f"stages/{stage.pk}/start/").json()["type"] == "/api/problems/on-hold"
    assert bench.get(f"stages/{stage.pk}/").json()["words"] == "Card on hold: the customer's go-ahead"
    assert bench.post(f"cards/{card.pk}/resume/").status_code == 200
    assert bench.post(f"stages/{stage.pk}/start/").status_code == 200


def test_booked_in_for_later(api, office, mechanic):
    client = api(office)
    card = open_card(client, arrived=False).json()
    assert (card["state"], card["waits_for"]) == ("booked", "the machine to come in")
    stage = client.post("stages/", {"card_id": card["id"], "name": "Strip", "kind": "strip"}).json()
    assert stage["state"] == "to-do"
    assert api(mechanic).post(f"stages/{stage['id']}/start/").json()["type"] == "/api/problems/not-arrived"
    assert client.post(f"cards/{card['id']}/arrive/").json()["state"] == "in-shop"
    assert client.post(f"cards/{card['id']}/arrive/").status_code == 409


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"complaint": ""}, "/complaint"),
        ({"complaint": " \u200b "}, "/complaint"),
        ({"complaint": "x" * 4001}, "/complaint"),
        ({"machine_id": 99999}, "/machine_id"),
        ({"machine_id": "1"}, "/machine_id"),
        ({"site_id": 99999}, "/site_id"),
        ({"promised_on": "2020-01-01"}, "/promised_on"),
        ({"promised_on": "2199-01-01"}, "/promised_on"),
        ({"promised_on": "tomorrow"}, "/promised_on"),
        ({"plan_ids": [99999]}, "/plan_ids"),
        ({"number": "26-0001"}, "/number"),
    ],
)
def test_bad_input_opens_no_card(api, office, body, pointer):
    answer = open_card(api(office), **body)
    assert answer.status_code == 400, answer.content
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not JobCard.objects.exists()
    assert open_card(api(office)).json()["number"].endswith("-0001")


def test_rights(api, office, mechanic, stores):
    card = a_card()
    stage = a_stage(card)
    assert open_card(api(mechanic)).status_code == 403
    assert api(stores).get(f"cards/{card.pk}/").status_code == 200
    assert api(stores).post(f"stages/{stage.pk}/start/").status_code == 403
    assert api(office).post(f"stages/{stage.pk}/start/").status_code == 403
    assert api(mechanic).post(f"cards/{card.pk}/finish/").status_code == 403
    assert api(mechanic).post(f"cards/{card.pk}/cancel/", {"reason": "x"}).status_code == 403
    assert api(None).get("cards/").status_code == 401
    assert not Stage.objects.filter(started_at__isnull=False).exists()


def test_edits_need_the_present_version(api, office):
    client, card = api(office), a_card()
    read = client.get(f"cards/{card.pk}/")
    assert client.patch(f"cards/{card.pk}/", {"complaint": "x"}, etag=None).status_code == 428
    assert client.patch(f"cards/{card.pk}/", {"complaint": "Smokes blue."}, etag=read["ETag"]).status_code == 200
    assert client.patch(f"cards/{card.pk}/", {"complaint": "x"}, etag=read["ETag"]).status_code == 412
    assert client.patch(f"cards/{card.pk}/", {"number": "26-9999"}).status_code == 400
    assert client.patch(f"cards/{card.pk}/", {"state": "finished"}).status_code == 400
    stage = a_stage(card)
    mine = client.get(f"stages/{stage.pk}/")["ETag"]
    assert client.patch(f"stages/{stage.pk}/", {"standard_hours": "2.5"}, etag=mine).json()["standard_hours"] == "2.5"
    assert client.patch(f"stages/{stage.pk}/", {"name": "x"}, etag=mine).status_code == 412
    for forged in ({"started_at": "2026-11-26T10:00:00Z"}, {"go_ahead_at": None}, {"card_id": 2}, {"finished_by": 1}):
        assert client.patch(f"stages/{stage.pk}/", forged).status_code == 400
    assert client.delete(f"stages/{stage.pk}/").status_code == 204
    assert client.get(f"stages/{stage.pk}/").json()["state"] == "removed"
    assert client.get("stages/", card_id=card.pk).json()["items"] == []


def test_a_repeated_posting_happens_once(api, office, mechanic):
    client = api(office)
    body = {"machine_id": a_machine().pk, "complaint": "Smokes."}
    answers = [client.post("cards/", body, key="a-key-of-mine") for _ in range(3)]
    assert {a.status_code for a in answers} == {201}
    assert JobCard.objects.count() == 1
    stage = a_stage(JobCard.objects.get())
    started = api(mechanic)
    twice = [started.post(f"stages/{stage.pk}/start/", key="start-it-once") for _ in range(2)]
    assert [a.status_code for a in twice] == [200, 200]
    assert started.post(f"stages/{stage.pk}/start/").status_code == 409


def test_lists_narrow_and_order(api, office, mechanic):
    from datetime import timedelta

    from shop.kernel import clock

    client, today = api(office), clock.today()
    soon = a_card(promised_on=today + timedelta(days=1))
    never = a_card(machine_id=a_machine("B2-2").pk)
    with clock.at(moments.away(-9)):
        late = a_card(promised_on=today - timedelta(days=3), machine_id=a_machine("B2-3").pk)
    a_stage(soon, mechanic_id=mechanic.pk)
    numbers = {c.pk: c.number for c in (soon, never, late)}

    def found(**query):
        return [c["number"] for c in client.get("cards/", **query).json()["items"]]

    assert found(order="promised") == [numbers[c.pk] for c in (late, soon, never)]
    assert found() == [numbers[c.pk] for c in (late, never, soon)]
    assert found(late="true") == [late.number]
    assert late.number not in found(late="false")
    assert found(mechanic_id=mechanic.pk) == [soon.number]
    assert found(machine_id=never.machine_id) == [never.number]
    assert found(number=soon.number) == [soon.number]
    assert len(found(customer_id=soon.customer_id, open="true", state="in-shop")) == 3
    assert found(state="booked") == []
    assert client.get(f"cards/{late.pk}/").json()["late_days"] == 3
    page = client.get("cards/", order="promised", limit=2).json()
    assert [c["number"] for c in client.get(page["next"]).json()["items"]] == [never.number]
    for wrong in ({"state": "sold"}, {"colour": "blue"}, {"machine_id": "x"}, {"order": "-price"}):
        assert client.get("cards/", **wrong).status_code == 400
    todo = client.get("stages/", todo="true", mechanic_id=mechanic.pk).json()["items"]
    assert [s["card_number"] for s in todo] == [soon.number]
    assert client.get("stages/", todo="true", nobody="true").json()["items"] == []
    assert client.get(f"cards/{late.pk + 99}/history/").status_code == 404


def test_more_rows_take_no_more_queries(api, office):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client, plan = api(office), a_plan()

    def count(path):
        with CaptureQueriesContext(connection) as seen:
            assert client.get(path).status_code == 200
        return len(seen)

    paths = ("cards/", "stages/", "gates/", "notes/", f"cards/{a_card(plan_ids=[plan.pk]).pk}/history/")
    few = [count(p) for p in paths]
    from jobs.cards import actions

    for _ in range(4):
        card = a_card(plan_ids=[plan.pk])
        actions.add_note(card.pk, by=office, text="x")
    assert [count(p) for p in paths] == few
    assert max(few) <= 6
