"""A machine over the counter, a step at a time."""

import uuid
from decimal import Decimal

import pytest

from jobs.cards.models import JobCard
from jobs.draws.models import Need
from jobs.machines.models import Customer, Machine, UsageReading
from jobs.plans.models import PlanPart
from tests.factories.cards import a_plan
from tests.factories.machines import customer, machine
from tests.factories.parts import part

pytestmark = pytest.mark.django_db
NEW = "/cards/new/"


def test_from_nobody_to_an_open_card(at, press, office, stores, text):
    """New customer, new machine, meter, plan with a part: each step leads to the next."""
    desk, plan = at(office), a_plan()
    gasket = part(stores)
    PlanPart.objects.create(stage=plan.stages.get(name="Fit rings"), part=gasket, quantity=2)
    assert "No machine and no customer fits “vane”" in text(desk.get(NEW, {"q": "vane"}))
    page = desk.get(NEW, {"new": "Osk Vane"})
    assert 'value="Osk Vane"' in page.content.decode()
    answer = press(desk, f"{NEW}?new=", name="Osk Vane", kind="person", phone="+353 00 555 0199")
    owner = Customer.objects.get()
    assert answer["Location"] == f"{NEW}?customer={owner.pk}"
    answer = press(
        desk, answer["Location"], kind="pump engine", maker="Ostwick", model="5", serial_no="OW5-1", usage_unit="HUR"
    )
    engine = Machine.objects.get()
    assert answer["Location"] == f"{NEW}?machine={engine.pk}"
    answer = press(
        desk, answer["Location"], complaint="Won't start when cold.", came_with="Crank handle",
        usage="1210,5", plan_ids=[plan.pk],
    )  # fmt: skip
    card = JobCard.objects.get()
    assert answer["Location"] == f"/cards/{card.pk}/"
    assert UsageReading.objects.get().value == Decimal("1210.5")
    need = Need.objects.get()
    assert (need.part, need.quantity, need.stage.name) == (gasket, 2, "Fit rings")
    page = text(desk.get(answer["Location"]))
    assert "Won't start when cold." in page.replace("&#x27;", "'")
    assert "Crank handle" in page
    assert "GKT-041" in page


def test_known_machines_and_customers_are_found_at_once(at, office, text):
    engine = machine(customer("Mara Quill"), serial_no="B2-40417")
    page = at(office).get(NEW, {"q": "b240417"})
    assert f"?machine={engine.pk}" in page.content.decode()
    page = at(office).get(NEW, {"q": "quill"})
    assert f"?customer={engine.customer_id}" in page.content.decode()
    assert "B2-40417" in text(at(office).get(NEW, {"customer": engine.customer_id}))


def test_doubles_are_pointed_out_and_lead_on(at, press, office, text):
    there = customer("Mara Quill", phone="+353 00 555 0142")
    answer = press(at(office), f"{NEW}?new=", name="Mara Quill", kind="person")
    assert answer.status_code == 422
    assert f"?customer={there.pk}" in answer.content.decode()
    assert "This may be here already" in text(answer)
    answer = press(at(office), f"{NEW}?new=", name="Mara Quill", kind="person", despite_duplicates="1")
    assert answer.status_code == 303
    engine = machine(there, serial_no="B2-40417")
    answer = press(at(office), f"{NEW}?customer={there.pk}", kind="engine", serial_no="b2 40417", usage_unit="HUR")
    assert f"?machine={engine.pk}" in answer.content.decode()
    assert Machine.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"complaint": ""}, "required"),
        ({"complaint": "x", "usage": "-3"}, "Give what the meter shows"),
        ({"complaint": "x", "usage": "100"}, "This is less than the 4,210.0 h read on"),
        ({"complaint": "x", "promised_on": "2020-01-01"}, "lies in the past"),
        ({"complaint": "x" * 4001}, "at most 4000 characters"),
    ],
)
def test_a_refusal_keeps_what_was_typed_and_opens_nothing(at, press, office, text, typed, said):
    from jobs.machines.actions import read_usage

    engine = machine()
    read_usage(engine.pk, by=office, value=Decimal(4210))
    answer = press(at(office), f"{NEW}?machine={engine.pk}", came_with="Crank handle", **typed)
    assert answer.status_code == 422
    assert said in text(answer)
    assert "Crank handle" in answer.content.decode()
    assert not JobCard.objects.exists()
    assert UsageReading.objects.count() == 1


def test_a_double_click_opens_one_card(at, office):
    engine = machine()
    sent = {"once": str(uuid.uuid4()), "complaint": "Smokes."}
    first = at(office).post(f"{NEW}?machine={engine.pk}", sent)
    assert at(office).post(f"{NEW}?machine={engine.pk}", sent)["Location"] == first["Location"]
    assert JobCard.objects.count() == 1


def test_an_expired_session_keeps_what_was_typed(client, press):
    engine = machine()
    answer = press(client, f"{NEW}?machine={engine.pk}", complaint="Smokes white when cold.")
    assert answer.status_code == 401
    assert "Smokes white when cold." in answer.content.decode()
    assert not JobCard.objects.exists()


def test_an_open_card_of_the_machine_is_pointed_out(at, office, shop, text):
    page = text(at(office).get(NEW, {"machine": shop.card.machine_id}))
    assert f"There is an open card for this machine {shop.card.number}" in page


@pytest.mark.parametrize("query", ["machine=0", "machine=999999", "customer=999999", "machine=" + "9" * 18])
def test_forged_steps_are_not_found(at, office, query):
    assert at(office).get(f"{NEW}?{query}").status_code == 404


def test_only_the_counter_takes_machines_in(at, mechanic, stores):
    assert at(mechanic).get(NEW).status_code == 403
    assert at(stores).get(NEW).status_code == 403
