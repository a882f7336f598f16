"""The shared bench tablet: trusted once, switched by PIN, with the few rights of the bench."""

import uuid

import pytest
from django.test import Client

from shop.kernel.rights import PIN_RIGHTS
from shop.people.actions import own, tablets
from shop.people.models import Tablet
from shop.trail.models import TrailRow

pytestmark = pytest.mark.django_db
PIN = "582047"


@pytest.fixture
def tablet(office, mechanic, stores):
    """A browser that was enrolled by the office through the page."""
    own.set_pin(PIN, by=mechanic)
    client = Client()
    client.force_login(office)
    answer = client.post("/tablets/", {"once": str(uuid.uuid4()), "label": "Bench 2"})
    assert (answer.status_code, answer["Location"]) == (303, "/tablet/")
    return client


def switch(client, person, pin=PIN, **more):
    return client.post(f"/tablet/{person.pk}/", {"pin": pin} | more)


def test_enrolling_signs_the_office_out_and_keeps_a_digest_only(tablet, office):
    assert tablet.get("/people/")["Location"].startswith("/tablet/?next=")
    cookie = tablet.cookies["tallybench_tablet"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert Tablet.objects.get().digest not in cookie.value
    assert TrailRow.objects.filter(verb="tablet.enrolled", by=office).count() == 1


def test_names_stand_there_and_a_pin_switches_in(tablet, mechanic, stores, office):
    page = tablet.get("/tablet/").content.decode()
    assert "Jory Vane" in page
    assert "Tamsin Roe" in page
    assert "Pim Castell" not in page
    key = tablet.session.session_key
    assert switch(tablet, mechanic).status_code == 303
    assert tablet.session.session_key != key
    row = TrailRow.objects.get(verb="person.signed-in")
    assert (row.by, row.detail["how"]) == (mechanic, "pin")


def test_a_pin_gives_the_rights_of_the_bench_only(tablet, mechanic):
    switch(tablet, mechanic)
    assert tablet.get("/me/").status_code == 403
    assert tablet.post("/me/tokens/add/", {"label": "x"}).status_code == 403
    assert tablet.get("/api/v1/machines/").status_code == 200
    assert "own.edit" not in PIN_RIGHTS


def test_another_person_switches_in_over_the_first(tablet, mechanic, mechanic2):
    own.set_pin("914728", by=mechanic2)
    switch(tablet, mechanic)
    assert "Jory Vane is switched in" in tablet.get("/tablet/").content.decode()
    switch(tablet, mechanic2, "914728")
    assert "Brann Oakes is switched in" in tablet.get("/tablet/").content.decode()
    tablet.post("/sign-out/")
    assert "is switched in" not in tablet.get("/tablet/").content.decode()


def test_a_wrong_pin_is_noted_and_slowed_down(tablet, mechanic, mechanic2, stopped):
    answers = [switch(tablet, mechanic, "000111").status_code for _ in range(6)]
    assert answers == [422] * 5 + [429]
    rows = TrailRow.objects.filter(verb="sign-in.failed")
    assert rows.count() == 5
    assert (rows[0].subject_id, rows[0].detail) == (mechanic.pk, {"what": "pin", "tablet": "Bench 2"})
    own.set_pin("914728", by=mechanic2)
    assert switch(tablet, mechanic2, "914728").status_code == 303, "others still get in"
    stopped.on(30)
    assert switch(tablet, mechanic).status_code == 303, "and so does the person after the wait"


def test_trying_everybody_in_turn_is_slowed_down_too(tablet, mechanic, stopped):
    from tests.factories.people import person

    crew = [mechanic, *(person(f"m{n}", f"M {n}", "mechanic") for n in range(6))]
    answers = [switch(tablet, who, "000111").status_code for _ in range(4) for who in crew]
    assert answers.count(422) == 25
    assert set(answers[25:]) == {429}


@pytest.mark.parametrize("who", ["no pin", "not at the bench", "left", "nobody"])
def test_who_can_not_switch_in(tablet, mechanic, stores, owner, who):
    if who == "no pin":
        assert switch(tablet, stores, "").status_code == 422
        assert switch(tablet, stores, PIN).status_code == 422
    elif who == "not at the bench":
        own.set_pin(PIN, by=owner)
        assert switch(tablet, owner).status_code == 404
    elif who == "left":
        mechanic.is_active = False
        mechanic.save()
        assert switch(tablet, mechanic).status_code == 404
    else:
        assert tablet.post("/tablet/99999/", {"pin": PIN}).status_code == 404


def test_no_other_device_has_the_page(tablet, mechanic):
    stranger = Client()
    assert stranger.get("/tablet/").status_code == 404
    assert switch(stranger, mechanic).status_code == 404
    stranger.cookies["tallybench_tablet"] = "made-up:signature"
    assert stranger.get("/tablet/").status_code == 404


def test_revoking_ends_it_at_once(tablet, mechanic, office):
    switch(tablet, mechanic)
    tablets.revoke(Tablet.objects.get().pk, by=office)
    assert tablet.get("/api/v1/machines/").status_code == 401
    assert tablet.get("/tablet/").status_code == 404


def test_idle_for_a_quarter_of_an_hour_ends_it(tablet, mechanic, stopped):
    switch(tablet, mechanic)
    for _ in range(3):
        stopped.on(14 * 60)
        assert tablet.get("/api/v1/machines/").status_code == 200
    stopped.on(15 * 60 + 1)
    assert tablet.get("/api/v1/machines/").status_code == 401


def test_what_was_typed_survives_switching_in(tablet, mechanic):
    answer = tablet.post(
        "/tablet/", {"next": "/tablets/", "kept": '[["label", "Bench 9"]]', "person": str(mechanic.pk)}
    )
    assert "Jory Vane" in answer.content.decode()
    assert "Bench 9" in answer.content.decode()
    asked = switch(tablet, mechanic, next="/tablets/", kept='[["label", "Bench 9"]]')
    assert asked.status_code == 200
    assert 'value="Bench 9"' in asked.content.decode()


def test_a_page_that_is_not_theirs_leads_to_the_first_one(tablet, mechanic):
    assert switch(tablet, mechanic, next="/people/")["Location"] == "/"
