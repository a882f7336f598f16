import itertools
from datetime import UTC, datetime, timedelta

import pytest

from jobs.machines.models import Machine, UsageReading
from shop.kernel import clock
from shop.trail.models import TrailRow
from tests.factories import moments
from tests.factories.machines import customer, machine

pytestmark = pytest.mark.django_db


def serials(answer):
    assert answer.status_code == 200, answer.content
    return [i["serial_no"] for i in answer.json()["items"]]


def test_add_read_edit_archive_restore(api, office):
    client = api(office)
    owner = customer("Mara Quill")
    body = {
        "customer_id": owner.pk,
        "kind": "engine",
        "maker": "Brindlecote",
        "model": "B2",
        "serial_no": "B2-40417",
        "year": 2009,
    }
    made = client.post("machines/", body)
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    assert made["Location"] == f"/api/v1/machines/{pk}/"
    read = client.get(f"machines/{pk}/")
    assert read["ETag"] == made["ETag"]
    assert (read.json()["customer_id"], read.json()["customer_name"]) == (owner.pk, "Mara Quill")
    assert (read.json()["usage_unit"], read.json()["last_value"]) == ("HUR", None)
    assert client.patch(f"machines/{pk}/", {"year": 2010}).json()["year"] == 2010
    assert TrailRow.objects.get(verb="machine.changed").detail == {"changed": {"year": [2009, 2010]}}
    assert client.patch(f"machines/{pk}/", {"year": 2011}, etag=made["ETag"]).status_code == 412
    assert client.delete(f"machines/{pk}/").status_code == 204
    assert serials(client.get("machines/")) == []
    assert client.post(f"machines/{pk}/restore/").json()["archived_at"] is None


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"kind": ""}, "/kind"),
        ({"kind": "\u202e\u200f"}, "/kind"),
        ({"maker": "m" * 81}, "/maker"),
        ({"year": 1849}, "/year"),
        ({"year": clock.today().year + 2}, "/year"),
        ({"year": "2009"}, "/year"),
        ({"usage_unit": "MIN"}, "/usage_unit"),
        ({"customer_id": 999_999}, "/customer_id"),
        ({"customer_id": 0}, "/customer_id"),
        ({"customer_id": 2**63}, "/customer_id"),
        ({"parent_id": 999_999}, "/parent_id"),
        ({"serial_key": "x"}, "/serial_key"),
    ],
)
def test_bad_input_is_named_and_writes_nothing(api, office, body, pointer):
    answer = api(office).post("machines/", {"customer_id": customer().pk, "kind": "engine"} | body)
    assert answer.status_code == 400, answer.content
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not Machine.objects.exists()


def test_next_years_model_is_taken(api, office):
    year = clock.today().year + 1
    answer = api(office).post("machines/", {"customer_id": customer().pk, "kind": "engine", "year": year})
    assert answer.status_code == 201


def test_the_same_serial_number_is_pointed_out_however_it_is_typed(api, office):
    client = api(office)
    first = machine(customer("Mara Quill"), maker="Brindlecote", serial_no="B2-40417")
    body = {"customer_id": customer().pk, "kind": "engine", "maker": "brindlecote", "serial_no": "b2 40417"}
    answer = client.post("machines/", body)
    assert answer.status_code == 409
    assert answer.json()["type"] == "/api/problems/duplicate"
    assert answer.json()["facts"]["found"] == [
        {"id": first.pk, "name": "Brindlecote 5 B2-40417", "why": "same serial number, belongs to Mara Quill"}
    ]
    assert client.post("machines/", body | {"despite_duplicates": True}).status_code == 201
    assert client.post("machines/", body | {"serial_no": ""}).status_code == 201
    assert client.post("machines/", body | {"serial_no": "–"}).status_code == 201  # nothing to tell apart by


def test_no_machine_for_an_archived_customer(api, office):
    client = api(office)
    owner = customer("Mara Quill")
    client.delete(f"customers/{owner.pk}/")
    answer = client.post("machines/", {"customer_id": owner.pk, "kind": "engine"})
    assert answer.status_code == 400
    assert "archived" in answer.json()["errors"][0]["detail"]


def test_a_machine_can_belong_to_another_but_not_in_a_circle(api, office):
    client = api(office)
    owner = customer()
    vessel, engine, pump = (machine(owner, kind=k) for k in ("vessel", "engine", "pump"))
    assert client.patch(f"machines/{engine.pk}/", {"parent_id": vessel.pk}).json()["parent_id"] == vessel.pk
    assert client.patch(f"machines/{pump.pk}/", {"parent_id": engine.pk}).status_code == 200
    for above, below in ((vessel, vessel), (vessel, engine), (vessel, pump)):
        answer = client.patch(f"machines/{above.pk}/", {"parent_id": below.pk})
        assert answer.status_code == 400, (above.kind, below.kind)
        assert answer.json()["errors"][0]["pointer"] == "/parent_id"
    vessel.refresh_from_db()
    assert (vessel.parent_id, vessel.version) == (None, 1)
    elsewhere = machine()
    assert client.patch(f"machines/{pump.pk}/", {"parent_id": elsewhere.pk}).status_code == 400
    assert serials(client.get("machines/", parent_id=vessel.pk)) == [engine.serial_no]
    assert client.patch(f"machines/{engine.pk}/", {"parent_id": None}).json()["parent_id"] is None


def test_machines_stand_at_most_five_deep(api, office):
    client = api(office)
    owner = customer()
    chain = [machine(owner) for _ in range(6)]
    for above, below in itertools.pairwise(chain[:5]):
        assert client.patch(f"machines/{below.pk}/", {"parent_id": above.pk}).status_code == 200
    assert client.patch(f"machines/{chain[5].pk}/", {"parent_id": chain[4].pk}).status_code == 400
    assert client.patch(f"machines/{chain[0].pk}/", {"parent_id": chain[5].pk}).status_code == 400  # pushes all down
    assert client.patch(f"machines/{chain[5].pk}/", {"parent_id": chain[3].pk}).status_code == 200


def test_a_sold_machine_moves_with_all_that_belongs_to_it(api, office):
    client = api(office)
    seller, buyer = customer("Seller"), customer("Buyer")
    vessel = machine(seller, kind="vessel")
    engine = machine(seller, kind="engine", parent_id=vessel.pk)
    pump = machine(seller, kind="pump", parent_id=engine.pk)
    moved = client.post(f"machines/{engine.pk}/move/", {"customer_id": buyer.pk})
    assert moved.status_code == 200, moved.content
    assert (moved.json()["customer_name"], moved.json()["parent_id"]) == ("Buyer", None)
    pump.refresh_from_db()
    vessel.refresh_from_db()
    assert (pump.customer, pump.parent_id, vessel.customer) == (buyer, engine.pk, seller)
    assert TrailRow.objects.filter(verb="machine.moved").count() == 2
    assert client.post(f"machines/{engine.pk}/move/", {"customer_id": buyer.pk}).status_code == 400
    assert client.post(f"machines/{engine.pk}/move/", {"customer_id": 999_999}).status_code == 400
    client.delete(f"customers/{seller.pk}/")
    assert client.post(f"machines/{engine.pk}/move/", {"customer_id": seller.pk}).status_code == 400


class TestReadings:
    def read(self, client, pk, value, **more):
        return client.post(f"machines/{pk}/readings/", {"value": value, **more})

    def test_the_last_one_by_time_is_what_the_machine_shows(self, api, mechanic):
        client = api(mechanic)
        pk = machine().pk
        early, late = moments.away(-400), moments.away(-1)
        made = self.read(client, pk, "4210.5", read_at=late.isoformat())
        assert made.status_code == 201, made.content
        assert made.json()["by"] == "Jory Vane"
        assert self.read(client, pk, "3900", read_at=early.isoformat()).status_code == 201
        shown = client.get(f"machines/{pk}/").json()
        assert shown["last_value"] == "4210.5"
        assert shown["last_read_at"][:10] == late.isoformat()[:10]
        assert [r["value"] for r in client.get(f"machines/{pk}/readings/").json()["items"]] == ["4210.5", "3900"]

    @pytest.mark.parametrize("value", ["-1", "NaN", "1e3", 4210, "4210.55", "99999999", "", None])
    def test_absurd_values_are_refused(self, api, office, value):
        answer = self.read(api(office), machine().pk, value)
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["pointer"] == "/value"
        assert not UsageReading.objects.exists()

    def test_a_reading_lies_neither_in_the_future_nor_before_the_machine(self, api, office):
        client = api(office)
        pk = machine(year=2009).pk
        for at in (
            (clock.now() + timedelta(hours=1)).isoformat(),
            "2008-06-01T00:00:00Z",
            "2026-11-03T10:00:00",
            "soon",
        ):
            answer = self.read(client, pk, "10", read_at=at)
            assert answer.status_code == 400, at
            assert answer.json()["errors"][0]["pointer"] == "/read_at"

    def test_one_that_does_not_fit_needs_a_note(self, api, office):
        client = api(office)
        pk = machine().pk
        now = clock.now()
        self.read(client, pk, "4210", read_at=(now - timedelta(days=20)).isoformat())
        lower = self.read(client, pk, "12", read_at=(now - timedelta(days=10)).isoformat())
        assert lower.status_code == 400
        assert lower.json()["type"] == "/api/problems/note-needed"
        assert lower.json()["errors"][0]["pointer"] == "/note"
        assert "4,210" in lower.json()["detail"]
        noted = self.read(client, pk, "12", read_at=(now - timedelta(days=10)).isoformat(), note="new meter")
        assert noted.status_code == 201
        # faster than the clock: 240 hours in ten days at the most, and a day of grace
        assert self.read(client, pk, "300").status_code == 400
        # typed in late, between two others: more than the one after it
        between = (now - timedelta(days=15)).isoformat()
        assert self.read(client, pk, "4300", read_at=between).status_code == 400
        assert self.read(client, pk, "200").status_code == 201
        # kilometres know no such speed limit
        lorry = machine(usage_unit="KMT").pk
        self.read(client, lorry, "100", read_at=(now - timedelta(days=1)).isoformat())
        assert self.read(client, lorry, "1900").status_code == 201

    def test_the_unit_stays_once_something_was_read(self, api, office):
        client = api(office)
        pk = machine().pk
        assert client.patch(f"machines/{pk}/", {"usage_unit": "KMT"}).status_code == 200
        self.read(client, pk, "100")
        answer = client.patch(f"machines/{pk}/", {"usage_unit": "HUR", "note": "x"})
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["pointer"] == "/usage_unit"
        assert Machine.objects.get(pk=pk).note == ""

    def test_sent_twice_it_is_read_once(self, api, office):
        client = api(office)
        pk = machine().pk
        answers = [client.post(f"machines/{pk}/readings/", {"value": "10"}, key="reading-0001") for _ in range(3)]
        assert [a.status_code for a in answers] == [201] * 3
        assert UsageReading.objects.count() == 1

    def test_of_a_machine_that_is_not_there(self, api, office):
        client = api(office)
        assert client.get("machines/999/readings/").status_code == 404
        assert self.read(client, 999, "1").status_code == 404
        pk = machine().pk
        client.delete(f"machines/{pk}/")
        assert self.read(client, pk, "1").status_code == 409

    def test_the_database_refuses_to_change_one(self, api, office):
        from django.db import DatabaseError, transaction

        pk = self.read(api(office), machine().pk, "10").json()["id"]
        for change in (lambda r: r.update(value=5), lambda r: r.delete()):
            with pytest.raises(DatabaseError), transaction.atomic():
                change(UsageReading.objects.filter(pk=pk))
        assert UsageReading.objects.get(pk=pk).value == 10


def test_filters(api, mechanic):
    client = api(mechanic)
    owner = customer("Mara Quill")
    machine(owner, kind="Engine", maker="Brindlecote", model="B2", serial_no="B2-40417")
    machine(owner, kind="pump", maker="Ostwick", model="5", serial_no="OW/77")
    machine(kind="pump", maker="Øst", model="7", serial_no="X-1")
    assert serials(client.get("machines/")) == ["B2-40417", "OW/77", "X-1"]
    assert serials(client.get("machines/", serial="240 417")) == ["B2-40417"]
    assert serials(client.get("machines/", maker="ostwick")) == ["OW/77"]
    assert serials(client.get("machines/", kind="PUMP")) == ["OW/77", "X-1"]
    assert serials(client.get("machines/", customer_id=owner.pk)) == ["B2-40417", "OW/77"]
    assert serials(client.get("machines/", text="brindle b2")) == ["B2-40417"]
    assert serials(client.get("machines/", text="ØST")) == ["X-1"]
    assert client.get("machines/", customer_id="me").status_code == 400


def test_rights(api, office, mechanic, stores):
    pk, other = machine().pk, customer().pk
    for person in (mechanic, stores):
        client = api(person)
        shown = client.get(f"machines/{pk}/")
        assert shown.status_code == 200
        assert "phone" not in shown.content.decode()
        assert client.post("machines/", {"customer_id": other, "kind": "engine"}).status_code == 403
        assert client.patch(f"machines/{pk}/", {"year": 2000}).status_code == 403
        assert client.post(f"machines/{pk}/move/", {"customer_id": other}).status_code == 403
    assert api(mechanic).post(f"machines/{pk}/readings/", {"value": "1"}).status_code == 201
    assert api(stores).post(f"machines/{pk}/readings/", {"value": "2"}).status_code == 403


def test_the_list_takes_as_many_queries_for_many_as_for_few(api, office, django_assert_num_queries):
    client = api(office)
    for n in range(3):
        client.post(f"machines/{machine().pk}/readings/", {"value": str(n)})
    with django_assert_num_queries(2):
        client.get("machines/")
    for n in range(6):
        client.post(f"machines/{machine().pk}/readings/", {"value": str(n)})
    with django_assert_num_queries(2):
        shown = client.get("machines/").json()["items"]
    assert sorted(i["last_value"] for i in shown) == ["0", "0", "1", "1", "2", "2", "3", "4", "5"]


def test_the_search_box_puts_what_starts_alike_first():
    from jobs.machines import queries

    owner = customer("Tern & Sons")
    customer("The Tern")
    late = machine(owner, maker="Ternhill", serial_no="9")
    first = machine(owner, maker="Zeal", serial_no="TERN-1")
    assert [c.name for c in queries.find_customers("tern")] == ["Tern & Sons", "The Tern"]
    assert [c.name for c in queries.find_customers("tern", 1)] == ["Tern & Sons"]
    assert queries.find_customers("  ") == []
    assert queries.find_machines("tern") == [first, late]
    assert queries.find_machines("tern 1") == [first]
    assert queries.find_machines("“”") == []


def test_the_clock_is_the_shops(api, office, monkeypatch):
    stopped = datetime(2026, 11, 3, 9, 30, tzinfo=UTC)
    monkeypatch.setattr(clock, "now", lambda: stopped)
    made = api(office).post(f"machines/{machine().pk}/readings/", {"value": "1"})
    assert datetime.fromisoformat(made.json()["read_at"]) == stopped
