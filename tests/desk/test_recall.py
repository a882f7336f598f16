"""From a lot to every machine and customer, from a machine to every lot; the list and the letters of a recall."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.stock import actions as stock
from inventory.stock.models import Lot
from jobs.cards import actions as cards
from jobs.draws import actions as draws
from jobs.draws import trace
from jobs.machines.models import Customer
from shop.kernel import clock
from tests.documents.reading import text as text_of_pdf
from tests.factories import desk
from tests.factories import machines as made_machines
from tests.factories import stock as made
from tests.factories.cards import a_stage

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene(db):
    return desk.scene()


@pytest.fixture
def tubes(stores, scene):
    """Three lots: two of one batch, and one of another."""
    one = made.lot(stores, scene.tube.pk, "140", "0.2", at=scene.shelf, batch="K7")
    two = made.lot(stores, scene.tube.pk, "70", "0.2", at=scene.shelf, batch="K7")
    other = made.lot(stores, scene.tube.pk, "70", "0.2", at=scene.shelf, batch="K8")
    return one, two, other


def another_card(office, scene, name: str = "Joss Ferrier", **more):
    who = made_machines.customer(name, phone="+353 00 555 0177", despite_duplicates=True, **more)
    engine = made_machines.machine(
        who, kind="engine", maker="Ostwick", model="5", serial_no="O5-114", despite_duplicates=True
    )
    card = cards.open_card(
        by=office, machine_id=engine.pk, site_id=scene.shelf.site_id, complaint="Leaks.",
        promised_on=clock.today() + timedelta(days=5),
    )  # fmt: skip
    return card, a_stage(card, "Close the crankcase", kind="assemble")


def draw(by, stage, lot, quantity="10"):
    return draws.draw(by=by, stage_id=stage.pk, part_id=lot.part_id, quantity=D(quantity), lot_id=lot.pk).rows[0]


def test_a_lot_and_its_batch_lead_to_every_machine_in_one_query(office, mechanic, stores, scene, tubes):
    card, stage = another_card(office, scene)
    opened = stock.open_lot(by=stores, lot_id=tubes[0].pk, bin_id=scene.shelf.pk, quantity=D(70))
    first = draw(mechanic, scene.measure, opened)
    second = draw(mechanic, stage, tubes[1], "12.5")
    draw(mechanic, stage, tubes[2])
    back = draw(mechanic, stage, tubes[1], "5")
    draws.put_back(back.pk, by=mechanic, quantity=D(5))
    for lot in (tubes[0], tubes[1], opened):
        with CaptureQueriesContext(connection) as seen:
            found = [
                (d.pk, d.card.machine.title, d.card.customer.name, d.movement.lot.number) for d in trace.went_to(lot.pk)
            ]
        assert len(seen) == 1
        assert [row[0] for row in found] == [first.pk, second.pk]
    assert [d.pk for d in trace.went_to(tubes[0].pk, whole_batch=False)] == [first.pk]
    assert [d.pk for d in trace.went_to(tubes[1].pk, whole_batch=False)] == [second.pk]
    with CaptureQueriesContext(connection) as seen:
        lots = {d.movement.lot.number for d in trace.went_into(card.machine_id)}
    assert len(seen) == 1
    assert lots == {tubes[1].number, tubes[2].number}


def test_a_lot_without_a_batch_drags_no_others_along(office, mechanic, stores, scene):
    gasket = Lot.objects.get(part=scene.gasket)
    assert gasket.batch == ""
    other = made.lot(stores, scene.gasket.pk, "2", at=scene.shelf)
    _, stage = another_card(office, scene)
    draw(mechanic, stage, other, "1")
    assert not trace.went_to(gasket.pk).exists()


def test_the_recall_page_the_list_and_the_letters(client, office, mechanic, scene, tubes):
    _, stage = another_card(office, scene, language="de", email="=cmd@x.example")
    draw(mechanic, stage, tubes[1], "12.5")
    client.force_login(office)
    lot_page = client.get(reverse("stock:lot", args=[tubes[0].pk])).content.decode()
    assert "Ostwick 5" in lot_page
    url = reverse("desk:recall", args=[tubes[0].pk])
    assert url in lot_page
    page = client.get(url).content.decode()
    for words in ("Joss Ferrier", "O5-114", tubes[1].number, "batch K7", "A3-02"):
        assert words in page
    assert client.get(url, {"what": ""}).status_code == 422
    page = client.get(url, {"what": "It does not cure.", "todo": ""}).content.decode()
    who = Customer.objects.get(name="Joss Ferrier")
    letter_url = reverse("desk:recall-letter", args=[tubes[0].pk, who.pk])
    assert letter_url in page
    letter = client.get(letter_url, {"what": "It does not cure.", "todo": "Bring it in."})
    assert letter["Content-Type"] == "application/pdf"
    seen = text_of_pdf(letter.content)
    for words in (
        "Zu einem Teil in Ihrer Maschine",
        "It does not cure.",
        "Bring it in.",
        "O5-114",
        "12,5",
        tubes[1].number,
    ):
        assert words in seen, words
    assert client.get(reverse("desk:recall-letter", args=[tubes[0].pk, who.pk + 10**6])).status_code == 404
    rows = client.get(reverse("desk:recall-csv", args=[tubes[0].pk])).content.decode().splitlines()
    assert len(rows) == 2
    assert ",12.5,MLT," in rows[1]
    assert "'=cmd@x.example" in rows[1]


def test_who_knows_no_customers_sees_machines_and_no_list(client, stores, office, mechanic, scene, tubes):
    card, stage = another_card(office, scene)
    draw(mechanic, stage, tubes[1])
    client.force_login(stores)
    page = client.get(reverse("stock:lot", args=[tubes[0].pk])).content.decode()
    assert card.number in page
    assert "Joss Ferrier" not in page
    assert client.get(reverse("desk:recall", args=[tubes[0].pk])).status_code == 403
    machine = client.get(reverse("machines:machine", args=[card.machine_id])).content.decode()
    assert tubes[1].number in machine


def test_over_the_api(api, office, mechanic, scene, tubes):
    card, stage = another_card(office, scene)
    draw(mechanic, stage, tubes[1], "12.5")
    (told,) = api(office).get(f"/api/v1/traces/?lot_id={tubes[0].pk}").json()["items"]
    assert (told["machine_id"], told["lot_number"], told["quantity"]) == (card.machine_id, tubes[1].number, "12.5")
    assert told["customer"] == "Joss Ferrier"
    assert api(office).get(f"/api/v1/traces/?machine_id={card.machine_id}").json()["items"] == [told]
    assert api(mechanic).get("/api/v1/traces/").status_code == 403


def test_pages_ask_no_more_for_more_draws(client, office, mechanic, scene, tubes):
    _, stage = another_card(office, scene)
    draw(mechanic, stage, tubes[1], "1")
    client.force_login(office)

    def asked(url) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(url).status_code == 200
        return len(seen)

    urls = [reverse("desk:recall", args=[tubes[0].pk]), reverse("stock:lot", args=[tubes[0].pk])]
    before = [asked(url) for url in urls]
    for n in range(4):
        _, stage = another_card(office, scene, f"Nel {n}")
        draw(mechanic, stage, tubes[1], "1")
    assert [asked(url) for url in urls] == before


def test_what_went_back_to_the_supplier_is_told(client, office, stores, scene, tubes):
    one, two, other = tubes
    for lot in (two, other):
        stock.send_back(
            by=stores,
            lot_id=lot.pk,
            bin_id=scene.shelf.pk,
            quantity=D(20),
            reason="Cloudy",
            label=f"Gullhaven {lot.batch}",
        )
    client.force_login(office)
    page = client.get(reverse("desk:recall", args=[one.pk])).content.decode()
    assert "Gullhaven K7" in page
    assert "20\u00a0ml" in page
    assert "Gullhaven K8" not in page, "another batch"
