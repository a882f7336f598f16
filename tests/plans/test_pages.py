import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.plans import actions
from jobs.plans.models import PlanStage, WorkPlan
from tests.factories.parts import part, sealant
from tests.factories.plans import part_line, plan, stage

pytestmark = pytest.mark.django_db


@pytest.fixture
def at_desk(client, office):
    client.force_login(office)
    return client


def form(**fields):
    return {"once": str(uuid.uuid4())} | fields


STAGE = {"name": "Fit head", "kind": "assemble", "standard_hours": "2,5", "chargeable": "on", "needs_go_ahead": ""}


def test_write_a_plan_from_nothing(at_desk, stores):
    part(by=stores)
    assert (
        "maker&#x27;s manual rules" in at_desk.get("/plans/new/").content.decode()
    )  # filled in, to be kept or changed
    answer = at_desk.post("/plans/new/", form(code="b2-top", name="Top end, B2", maker="Brindlecote"), follow=True)
    made = WorkPlan.objects.get()
    assert "No stages yet" in answer.content.decode()
    assert (
        at_desk.post(f"/plans/{made.pk}/stages/new/", form(**STAGE | {"name": "Strip", "kind": "strip"})).status_code
        == 303
    )
    first = made.stages.get()
    # the next one comes after the last unless said otherwise
    assert (
        f'value="{first.pk}" id="id_after_ids_0" checked'
        in at_desk.get(f"/plans/{made.pk}/stages/new/").content.decode()
    )
    at_desk.post(f"/plans/{made.pk}/stages/new/", form(**STAGE, after_ids=[first.pk]))
    second = made.stages.get(position=2)
    gate = form(**{"gate-text": "Faces clean", "gate-when": "start"})
    assert at_desk.post(f"/plans/stages/{second.pk}/gates/", gate).status_code == 303
    line = form(**{"part-part": "gkt-041", "part-quantity": "1"})
    assert at_desk.post(f"/plans/stages/{second.pk}/parts/", line).status_code == 303
    page = at_desk.get(f"/plans/{made.pk}/").content.decode()
    for shown in ("B2-TOP", "Faces clean", "before it starts", "GKT-041", "5.00"):
        assert shown in page
    assert (first.needs_go_ahead, second.needs_go_ahead) == (False, True)
    assert "Top end, B2" in at_desk.get("/plans/?text=brindle").content.decode()


def test_change_a_stage(at_desk):
    made = plan()
    row = made.stages.get(name="Fit head")
    page = at_desk.get(f"/plans/stages/{row.pk}/").content.decode()
    version = re.search(r'name="version" value="(\d+)"', page)[1]
    others = [s.pk for s in made.stages.all()[:1]]
    sent = STAGE | {"needs_go_ahead": "False", "position": "1", "after_ids": others, "version": version}
    assert at_desk.post(f"/plans/stages/{row.pk}/", form(**sent)).status_code == 303
    row.refresh_from_db()
    assert (row.position, row.needs_go_ahead, str(row.standard_hours)) == (1, False, "2.50")
    assert [a.pk for a in row.after.all()] == others
    made.refresh_from_db()
    down = form(way="down", version=made.version)
    assert at_desk.post(f"/plans/stages/{row.pk}/move/", down).status_code == 303
    row.refresh_from_db()
    assert row.position == 2


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": ""}, "required"),
        ({"name": "\u202e"}, "left empty"),
        ({"name": "x" * 121}, "120 characters"),
        ({"kind": "paint"}, "not one of the available choices"),
        ({"standard_hours": "-1"}, "Give 0 or more."),
        ({"standard_hours": "1001"}, "Give hours from 0 to 1000"),
        ({"position": "9"}, "Give a place from 1 to 4"),
        ({"after_ids": ["999999"]}, "not one of the available choices"),
    ],
)
def test_bad_input_keeps_what_was_typed_and_writes_nothing(at_desk, fields, said):
    row = plan().stages.first()
    sent = STAGE | {"needs_go_ahead": "True", "version": "1", "done_by": "senior fitter"} | fields
    answer = at_desk.post(f"/plans/stages/{row.pk}/", form(**sent))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert 'value="senior fitter"' in page
    assert WorkPlan.objects.get().version == 1


def test_a_circle_is_said_at_the_box(at_desk):
    made = plan()
    first, last = made.stages.first(), made.stages.last()
    sent = STAGE | {"needs_go_ahead": "True", "version": "1", "after_ids": [last.pk]}
    page = at_desk.post(f"/plans/stages/{first.pk}/", form(**sent)).content.decode()
    assert "would wait for each other in a circle" in page
    assert list(first.after.all()) == []


def test_a_stale_stage_shows_the_newer_version_and_keeps_what_was_typed(at_desk, owner):
    row = plan().stages.get(name="Fit head")
    before = [a.pk for a in row.after.all()]
    actions.edit_stage(row.pk, 1, by=owner, name="Fit head and nuts", after_ids=before[:1])
    sent = STAGE | {
        "needs_go_ahead": "True",
        "name": "Fit the head",
        "version": "1",
        "position": "4",
        "after_ids": before,
    }
    answer = at_desk.post(f"/plans/stages/{row.pk}/", form(**sent))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Fit head and nuts" in page
    assert 'value="Fit the head"' in page
    assert "2 Measure bores, 3 Lap valves" in page  # what was typed, in words
    assert re.search(r'name="version" value="2"', page)
    row.refresh_from_db()
    assert row.name == "Fit head and nuts"
    assert at_desk.post(f"/plans/stages/{row.pk}/", form(**sent | {"version": "2"})).status_code == 303


def test_a_stale_head_and_stale_buttons(at_desk, owner):
    made = plan(name="Top end")
    row = made.stages.last()
    actions.edit_plan(made.pk, 1, by=owner, name="Top end, small")
    sent = {"code": made.code, "name": "Top end, big", "version": "1"}
    answer = at_desk.post(f"/plans/{made.pk}/edit/", form(**sent))
    assert answer.status_code == 422
    assert "Top end, small" in answer.content.decode()
    for path in (f"/plans/stages/{row.pk}/move/", f"/plans/stages/{row.pk}/remove/"):
        answer = at_desk.post(path, form(way="up", version="1"), follow=True)
        assert "Somebody saved this work plan" in answer.content.decode()
    assert [s.name for s in made.stages.all()][-1] == row.name


def test_gates_and_parts_are_changed_and_taken_out(at_desk, stores):
    row = stage()
    gate = actions.add_gate(row.pk, None, by=stores, text="Bores oiled")
    line = part_line(row, sealant(by=stores).pk, "12")
    now = lambda: str(WorkPlan.objects.get().version)  # noqa: E731
    assert 'value="12"' in at_desk.get(f"/plans/parts/{line.pk}/").content.decode()
    assert at_desk.post(f"/plans/parts/{line.pk}/", form(quantity="12,5", version=now())).status_code == 303
    assert (
        at_desk.post(f"/plans/gates/{gate.pk}/", form(text="Bores oiled", when="start", version=now())).status_code
        == 303
    )
    page = at_desk.get(f"/plans/stages/{row.pk}/").content.decode()
    assert "12.5\u00a0ml" in page
    assert "before it starts" in page
    stale = at_desk.post(f"/plans/gates/{gate.pk}/", form(text="Other", when="start", version="1"))
    assert stale.status_code == 422
    assert 'value="Other"' in stale.content.decode()
    assert at_desk.post(f"/plans/parts/{line.pk}/", form(quantity="0", version=now())).status_code == 422
    at_desk.post(f"/plans/gates/{gate.pk}/remove/", form(version=now()))
    at_desk.post(f"/plans/parts/{line.pk}/remove/", form(version=now()))
    assert (row.gates.count(), row.parts.count()) == (0, 0)
    assert at_desk.get(f"/plans/gates/{gate.pk}/").status_code == 404


@pytest.mark.parametrize(
    ("typed", "quantity", "said"),
    [("NOPE", "1", "no such part number"), ("GKT-041", "0.5", "whole"), ("GKT-041", "", "required")],
)
def test_a_wrong_part_line_is_said_at_its_box(at_desk, stores, typed, quantity, said):
    part(by=stores)
    row = stage()
    answer = at_desk.post(f"/plans/stages/{row.pk}/parts/", form(**{"part-part": typed, "part-quantity": quantity}))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert f'value="{typed}"' in page
    assert row.parts.count() == 0


def test_copy_and_archive(at_desk):
    made = plan(name="Top end")
    answer = at_desk.post(f"/plans/{made.pk}/copy/", form(code=made.code.lower(), name="Second"))
    assert answer.status_code == 422
    assert "already a plan with the code" in answer.content.decode()
    assert at_desk.post(f"/plans/{made.pk}/copy/", form(code="second", name="Second")).status_code == 303
    assert PlanStage.objects.filter(plan__code="SECOND").count() == 4
    at_desk.post(f"/plans/{made.pk}/archive/", form())
    page = at_desk.get(f"/plans/{made.pk}/").content.decode()
    assert "Take back" in page
    assert "Add a stage" not in page
    refused = at_desk.post(f"/plans/{made.pk}/stages/new/", form(**STAGE))
    assert "is archived" in refused.content.decode()
    at_desk.post(f"/plans/{made.pk}/restore/", form())
    assert "Add a stage" in at_desk.get(f"/plans/{made.pk}/").content.decode()


def test_a_double_click_adds_once(at_desk):
    made = plan(stages=())
    sent = form(**STAGE)
    first, second = (at_desk.post(f"/plans/{made.pk}/stages/new/", sent) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert PlanStage.objects.count() == 1


def test_rights(client, owner, office, mechanic, stores):
    made = plan()
    first = made.stages.first().pk
    pages = {
        "/plans/": True, f"/plans/{made.pk}/": True, "/plans/new/": False, f"/plans/{made.pk}/edit/": False,
        f"/plans/{made.pk}/copy/": False, f"/plans/{made.pk}/stages/new/": False, f"/plans/stages/{first}/": False,
    }  # fmt: skip
    for person, edits in ((owner, True), (office, True), (mechanic, False), (stores, False)):
        client.force_login(person)
        for url, everyone in pages.items():
            assert client.get(url).status_code == (200 if everyone or edits else 403), (person, url)
    assert client.post(f"/plans/stages/{first}/remove/", form(version="1")).status_code == 403
    assert "Add a stage" not in client.get(f"/plans/{made.pk}/").content.decode()


def test_a_long_plan_takes_as_many_queries_as_a_short_one(at_desk, stores):
    short, long = plan(), plan(stages=())
    gasket = part(by=stores)
    part_line(short.stages.first(), gasket.pk)
    for _ in range(12):
        row = stage(long)
        part_line(row, gasket.pk)
        actions.add_gate(row.pk, None, by=stores, text="Clean")
    counts = []
    for made in (short, long):
        with CaptureQueriesContext(connection) as seen:
            assert at_desk.get(f"/plans/{made.pk}/").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_nothing_there(at_desk):
    for path in ("/plans/9/", "/plans/9/edit/", "/plans/9/copy/", "/plans/9/stages/new/", "/plans/stages/9/",
                 "/plans/gates/9/", "/plans/parts/9/"):  # fmt: skip
        assert at_desk.get(path).status_code == 404
    assert at_desk.post("/plans/stages/9/gates/", form(**{"gate-text": "A", "gate-when": "start"})).status_code == 404
