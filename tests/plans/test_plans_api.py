from decimal import Decimal

import pytest

from jobs.plans import actions, queries
from jobs.plans.drafts import CAUTION, StageDraft
from jobs.plans.models import PlanGate, PlanPart, PlanStage, WorkPlan
from shop.kernel.errors import BadInput, NotFound
from shop.trail.models import TrailRow
from tests.factories.parts import part, sealant
from tests.factories.plans import part_line, plan, stage

pytestmark = pytest.mark.django_db


def places(client, pk):
    return [s["name"] for s in client.get(f"plans/{pk}/").json()["stages"]]


class TestHead:
    def test_add_read_edit_archive_restore(self, api, office):
        client = api(office)
        made = client.post("plans/", {"code": "b2-top", "name": "Top-end rebuild, B2", "maker": "Brindlecote"})
        assert made.status_code == 201, made.content
        pk = made.json()["id"]
        assert made["Location"] == f"/api/v1/plans/{pk}/"
        read = client.get(f"plans/{pk}/")
        assert read["ETag"] == made["ETag"]
        assert (read.json()["code"], read.json()["cautions"]) == ("B2-TOP", CAUTION)
        assert (read.json()["stage_count"], read.json()["hours"], read.json()["longest_hours"]) == (0, "0", "0")
        assert client.patch(f"plans/{pk}/", {"name": "Top end"}).json()["version"] == 2
        assert client.patch(f"plans/{pk}/", {"name": "X"}, etag=made["ETag"]).status_code == 412
        assert client.delete(f"plans/{pk}/").status_code == 204
        assert client.get("plans/").json()["items"] == []
        assert client.patch(f"plans/{pk}/", {"name": "X"}).status_code == 409
        assert client.post(f"plans/{pk}/restore/").json()["archived_at"] is None

    @pytest.mark.parametrize(
        ("body", "pointer"),
        [
            ({"name": "A"}, "/code"),
            ({"code": "A"}, "/name"),
            ({"code": "A" * 25, "name": "A"}, "/code"),
            ({"code": "A", "name": "\u0007"}, "/name"),
            ({"code": "A", "name": "A", "cautions": "!" * 4001}, "/cautions"),
            ({"code": "A", "name": "A", "version": 4}, "/version"),
            ({"code": "A", "name": "A", "stages": [{"name": "S"}]}, "/stages/0/kind"),
            ({"code": "A", "name": "A", "stages": [{"name": "S", "kind": "paint"}]}, "/stages/0/kind"),
            ({"code": "A", "name": "A", "stages": [{"name": "S", "kind": "fit", "after": [2]}]}, "/stages/0/after"),
            ({"code": "A", "name": "A", "stages": [{"name": "S", "kind": "fit", "after": [1]}]}, "/after"),
            ({"code": "A", "name": "A", "stages": [{"name": "S", "kind": "fit", "standard_hours": "-1"}]},
             "/stages/0/standard_hours"),
            ({"code": "A", "name": "A", "stages": [{"name": "S", "kind": "fit", "parts": [{"part_id": 9, "quantity": "1"}]}]},
             "/stages/0/part_id"),
        ],
    )  # fmt: skip
    def test_bad_input_is_named_and_writes_nothing(self, api, office, body, pointer):
        answer = api(office).post("plans/", body)
        assert answer.status_code == 400, answer.content
        assert pointer in [e["pointer"] for e in answer.json()["errors"]]
        assert not WorkPlan.objects.exists()
        assert not PlanStage.objects.exists()

    def test_a_code_is_given_once_in_any_case(self, api, office):
        client = api(office)
        client.post("plans/", {"code": "B2-TOP", "name": "A"})
        again = client.post("plans/", {"code": "b2-top", "name": "B"})
        assert again.status_code == 400
        assert again.json()["errors"][0]["pointer"] == "/code"
        other = plan(code="X")
        assert client.patch(f"plans/{other.pk}/", {"code": "b2-top"}).status_code == 400
        assert client.patch(f"plans/{other.pk}/", {"code": "x"}).status_code == 200

    def test_a_whole_plan_in_one_posting_and_its_copy(self, api, office, stores):
        client = api(office)
        gasket = part(by=stores)
        body = {
            "code": "B2-TOP", "name": "Top end",
            "stages": [
                {"name": "Strip", "kind": "strip", "standard_hours": "1.5", "gates": [{"text": "Ports covered"}]},
                {"name": "Lap valves", "kind": "rework", "standard_hours": "2.5", "after": [1]},
                {"name": "Fit head", "kind": "assemble", "standard_hours": "2", "after": [1, 2], "done_by": "senior",
                 "gates": [{"text": "Faces clean", "when": "start"}, {"text": "Nuts tightened"}],
                 "parts": [{"part_id": gasket.pk, "quantity": "1"}], "cautions": "Head is heavy: two people."},
            ],
        }  # fmt: skip
        made = client.post("plans/", body)
        assert made.status_code == 201, made.content
        shown = made.json()
        assert (shown["stage_count"], shown["hours"], shown["longest_hours"]) == (3, "6", "6")
        strip, lap, fit = shown["stages"]
        assert [s["needs_go_ahead"] for s in shown["stages"]] == [False, True, True]
        assert fit["after_ids"] == [strip["id"], lap["id"]]
        assert [(g["text"], g["when"]) for g in fit["gates"]] == [
            ("Faces clean", "start"),
            ("Nuts tightened", "finish"),
        ]
        assert fit["parts"][0] | {"id": 0} == {
            "id": 0, "stage_id": fit["id"], "part_id": gasket.pk, "number": "GKT-041", "name": "Head gasket, B2",
            "quantity": "1", "unit": "C62",
        }  # fmt: skip
        # the copy has all of it, also a part archived since
        client_stores = api(stores)
        assert client_stores.get("plans/").status_code == 200
        from inventory.parts.actions import archive_part

        archive_part(gasket.pk, None, by=stores)
        copied = client.post(f"plans/{shown['id']}/copy/", {"code": "B2-TOP-2", "name": "Top end, second"})
        assert copied.status_code == 201, copied.content
        assert copied["Location"] == f"/api/v1/plans/{copied.json()['id']}/"
        assert queries.blueprint(copied.json()["id"]).stages == queries.blueprint(shown["id"]).stages
        assert client.post(f"plans/{shown['id']}/copy/", {"code": "B2-TOP", "name": "A"}).status_code == 400
        assert client.post("plans/999/copy/", {"code": "N", "name": "A"}).status_code == 404

    def test_filters(self, api, mechanic):
        client = api(mechanic)
        plan(code="A", name="Top end", machine_kind="engine", maker="Brindlecote", model="B2")
        plan(code="B", name="Pump overhaul", machine_kind="pump", stages=())
        plan(code="C", name="Wash", stages=())
        codes = lambda **q: [i["code"] for i in client.get("plans/", **q).json()["items"]]  # noqa: E731
        assert codes(order="code") == ["A", "B", "C"]
        assert codes(machine_kind="engine") == ["A", "C"]
        assert codes(machine_kind="engine", maker="ostwick") == ["C"]
        assert codes(text="pump over") == ["B"]
        assert client.get("plans/", text="Top end").json()["items"][0]["hours"] == "7"


class TestStages:
    def test_add_in_the_middle_move_and_take_out(self, api, office):
        client = api(office)
        pk = plan().pk
        first = client.get(f"plans/{pk}/").json()["stages"][0]["id"]
        body = {"plan_id": pk, "name": "Clean head", "kind": "clean", "position": 2, "after_ids": [first]}
        made = client.post("plan-stages/", body)
        assert made.status_code == 201, made.content
        assert (made.json()["position"], made.json()["needs_go_ahead"]) == (2, False)
        names = ["Take off head", "Clean head", "Measure bores", "Lap valves", "Fit head"]
        assert places(client, pk) == names
        moved = client.post(f"plan-stages/{made.json()['id']}/move/", {"position": 5})
        assert moved.status_code == 200, moved.content
        assert places(client, pk) == [names[0], *names[2:], names[1]]
        assert [s["position"] for s in client.get(f"plans/{pk}/").json()["stages"]] == [1, 2, 3, 4, 5]
        assert client.post(f"plan-stages/{made.json()['id']}/move/", {"position": 6}).status_code == 400
        assert client.delete(f"plan-stages/{made.json()['id']}/").status_code == 204
        assert places(client, pk) == [names[0], *names[2:]]

    def test_what_waited_for_a_stage_taken_out_waits_for_what_it_waited_for(self, api, office):
        client = api(office)
        pk = plan().pk
        strip, measure, lap, fit = client.get(f"plans/{pk}/").json()["stages"]
        client.delete(f"plan-stages/{measure['id']}/")
        client.delete(f"plan-stages/{lap['id']}/")
        assert client.get(f"plan-stages/{fit['id']}/").json()["after_ids"] == [strip["id"]]
        assert TrailRow.objects.filter(verb="plan.stage-removed").count() == 2

    def test_a_circle_is_refused_by_name(self, api, office):
        client = api(office)
        pk = plan().pk
        strip, measure, _, fit = client.get(f"plans/{pk}/").json()["stages"]
        answer = client.patch(f"plan-stages/{strip['id']}/", {"after_ids": [fit["id"]], "name": "Strip"})
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["pointer"] == "/after_ids"
        assert "“Fit head”" in answer.json()["detail"]
        assert client.get(f"plan-stages/{strip['id']}/").json() == strip
        elsewhere = stage().pk
        assert client.patch(f"plan-stages/{strip['id']}/", {"after_ids": [elsewhere]}).status_code == 400
        assert client.patch(f"plan-stages/{fit['id']}/", {"after_ids": [measure["id"]]}).json()["after_ids"] == [
            measure["id"]
        ]
        assert client.patch(f"plan-stages/{fit['id']}/", {"after_ids": []}).json()["after_ids"] == []

    def test_any_change_of_the_plan_makes_an_edit_of_its_stages_stale(self, api, office):
        client = api(office)
        pk = plan().pk
        strip, measure, *_ = client.get(f"plans/{pk}/").json()["stages"]
        etag = client.get(f"plan-stages/{strip['id']}/")["ETag"]
        gate = strip["gates"][0]["id"]
        gate_etag = client.get(f"plan-gates/{gate}/")["ETag"]
        assert client.patch(f"plan-stages/{measure['id']}/", {"standard_hours": "1.25"}).status_code == 200
        stale = client.patch(f"plan-stages/{strip['id']}/", {"standard_hours": "9"}, etag=etag)
        assert (stale.status_code, stale.json()["facts"]) == (412, {"current": 2})
        assert client.delete(f"plan-stages/{strip['id']}/", etag=etag).status_code == 412
        assert client.patch(f"plan-gates/{gate}/", {"text": "X"}, etag=gate_etag).status_code == 412
        assert client.delete(f"plan-gates/{gate}/", etag=gate_etag).status_code == 412
        assert client.patch(f"plans/{pk}/", {"name": "X"}, etag='"1-0"').status_code == 412

    @pytest.mark.parametrize(
        ("body", "pointer"),
        [
            ({"name": ""}, "/name"),
            ({"kind": "paint"}, "/kind"),
            ({"standard_hours": "1000.01"}, "/standard_hours"),
            ({"standard_hours": "0.125"}, "/standard_hours"),
            ({"standard_hours": "NaN"}, "/standard_hours"),
            ({"position": 99}, "/position"),
            ({"position": 0}, "/position"),
            ({"after_ids": [0]}, "/after_ids/0"),
            ({"done_by": "x" * 41}, "/done_by"),
        ],
    )
    def test_bad_input_is_named_and_writes_nothing(self, api, office, body, pointer):
        client = api(office)
        pk = plan(stages=()).pk
        answer = client.post("plan-stages/", {"plan_id": pk, "name": "S", "kind": "fit"} | body)
        assert answer.status_code == 400, answer.content
        assert pointer in [e["pointer"] for e in answer.json()["errors"]]
        assert not PlanStage.objects.exists()
        assert WorkPlan.objects.get().version == 1

    def test_go_ahead_is_as_usual_for_the_kind_unless_said(self, api, office):
        client = api(office)
        pk = plan(stages=()).pk
        add = lambda **b: client.post("plan-stages/", {"plan_id": pk, "name": "S"} | b).json()["needs_go_ahead"]  # noqa: E731
        assert [add(kind=k) for k in ("strip", "clean", "measure")] == [False] * 3
        assert [add(kind=k) for k in ("rework", "sublet", "assemble", "fit", "test")] == [True] * 5
        assert add(kind="strip", needs_go_ahead=True) is True
        assert add(kind="fit", needs_go_ahead=False) is False
        assert add(kind="fit", needs_go_ahead=None) is True

    def test_not_more_stages_than_a_person_can_follow(self, monkeypatch, office):
        monkeypatch.setattr("jobs.plans.actions.stages.MOST_STAGES", 4)
        with pytest.raises(BadInput, match="at most 4 stages"):
            stage(plan())
        many = tuple(StageDraft(f"S{n}", "fit") for n in range(201))
        with pytest.raises(BadInput, match="at most 200 stages"):
            plan(stages=many)


class TestGatesAndParts:
    def test_gates(self, api, office):
        client = api(office)
        of = stage()
        made = client.post("plan-gates/", {"stage_id": of.pk, "text": "New circlips fitted", "when": "start"})
        assert made.status_code == 201, made.content
        client.post("plan-gates/", {"stage_id": of.pk, "text": "Bores oiled"})
        pk = made.json()["id"]
        assert client.patch(f"plan-gates/{pk}/", {"when": "finish"}).json()["when"] == "finish"
        shown = client.get("plan-gates/", stage_id=of.pk).json()["items"]
        assert [(g["position"], g["text"]) for g in shown] == [(1, "New circlips fitted"), (2, "Bores oiled")]
        assert client.delete(f"plan-gates/{pk}/").status_code == 204
        assert client.post("plan-gates/", {"stage_id": of.pk, "text": " "}).status_code == 400
        assert client.post("plan-gates/", {"stage_id": of.pk, "text": "A", "when": "later"}).status_code == 400
        assert client.post("plan-gates/", {"stage_id": 999, "text": "A"}).status_code == 404
        assert PlanGate.objects.count() == 1
        assert WorkPlan.objects.get().version == 6  # the stage, two gates, an edit, one taken out

    def test_parts_come_in_quantities_of_their_unit(self, api, office, stores):
        client = api(office)
        of = stage()
        gasket, tube = part(by=stores), sealant(by=stores)
        add = lambda p, q: client.post("plan-parts/", {"stage_id": of.pk, "part_id": p.pk, "quantity": q})  # noqa: E731
        for wrong in ("0", "-1", "0.5", "1000000000"):
            answer = add(gasket, wrong)
            assert answer.status_code == 400, wrong
            assert answer.json()["errors"][0]["pointer"] == "/quantity"
        made = add(gasket, "2")
        assert made.status_code == 201, made.content
        assert add(tube, "12.5").json()["unit"] == "MLT"
        again = add(gasket, "1")
        assert "already" in again.json()["errors"][0]["detail"]
        pk = made.json()["id"]
        assert client.patch(f"plan-parts/{pk}/", {"quantity": "3"}).json()["quantity"] == "3"
        assert client.patch(f"plan-parts/{pk}/", {"quantity": "1.5"}).status_code == 400
        assert client.delete(f"plan-parts/{pk}/").status_code == 204
        assert PlanPart.objects.get().part == tube

    def test_an_archived_part_is_not_taken(self, api, office, stores):
        from inventory.parts.actions import archive_part

        gasket = part(by=stores)
        archive_part(gasket.pk, None, by=stores)
        answer = api(office).post("plan-parts/", {"stage_id": stage().pk, "part_id": gasket.pk, "quantity": "1"})
        assert "archived" in answer.json()["errors"][0]["detail"]

    def test_a_planned_part_keeps_its_unit(self, api, office, stores):
        from inventory.parts.actions import edit_part
        from shop.kernel.errors import Refused

        tube = sealant(by=stores)
        part_line(stage(), tube.pk, "12")
        with pytest.raises(Refused):
            edit_part(tube.pk, None, by=stores, unit="C62")


class TestBlueprint:
    def test_it_is_what_a_card_copies(self, stores):
        gasket = part(by=stores)
        made = plan()
        fit = made.stages.get(name="Fit head")
        part_line(fit, gasket.pk, "1")
        actions.move_stage(fit.pk, None, by=stores, position=1)
        found = queries.blueprint(made.pk)
        assert [s.name for s in found.stages] == ["Fit head", "Take off head", "Measure bores", "Lap valves"]
        assert [s.after for s in found.stages] == [(3, 4), (), (2,), (2,)]
        assert found.stages[0].gates[0].when == "start"
        assert [(p.part_id, p.quantity) for p in found.stages[0].parts] == [(gasket.pk, Decimal(1))]
        assert found.cautions == CAUTION

    def test_of_no_plan(self):
        with pytest.raises(NotFound):
            queries.blueprint(999)

    def test_it_takes_as_many_queries_for_a_long_plan_as_for_a_short_one(self, stores, django_assert_num_queries):
        short, long = plan(), plan(stages=())
        gasket = part(by=stores)
        part_line(short.stages.first(), gasket.pk)
        for _ in range(12):
            part_line(stage(long), gasket.pk)
        for pk in (short.pk, long.pk):
            with django_assert_num_queries(5):
                queries.blueprint(pk)


def test_rights(api, mechanic, stores, office):
    made = plan()
    first = made.stages.first().pk
    for person in (mechanic, stores):
        client = api(person)
        assert client.get(f"plans/{made.pk}/").status_code == 200
        assert client.get("plan-stages/", plan_id=made.pk).status_code == 200
        assert client.post("plans/", {"code": "A", "name": "A"}).status_code == 403
        assert client.post(f"plan-stages/{first}/move/", {"position": 2}).status_code == 403
        assert client.patch(f"plan-stages/{first}/", {"name": "X"}).status_code == 403
        assert client.delete(f"plan-stages/{first}/").status_code == 403
        assert client.post("plan-gates/", {"stage_id": first, "text": "A"}).status_code == 403
        assert client.post("plan-parts/", {"stage_id": first, "part_id": 1, "quantity": "1"}).status_code == 403


def test_lists_take_as_many_queries_for_many_as_for_few(api, office, stores):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = api(office)
    gasket = part(by=stores)
    for path in ("plans/", "plan-stages/", "plan-gates/", "plan-parts/"):
        counts = []
        for more in (1, 2):
            for _ in range(more):
                part_line(plan().stages.first(), gasket.pk)
            with CaptureQueriesContext(connection) as seen:
                assert client.get(path, limit=200).status_code == 200
            counts.append(len(seen))
        assert counts[0] == counts[1], path


def test_sent_twice_it_is_added_once(api, office):
    client = api(office)
    body = {"plan_id": plan(stages=()).pk, "name": "S", "kind": "fit"}
    answers = [client.post("plan-stages/", body, key="stage-once-1") for _ in range(3)]
    assert [a.status_code for a in answers] == [201] * 3
    assert PlanStage.objects.count() == 1
