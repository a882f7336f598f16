"""Getting in by user name and password."""

import json

import pytest
from django.test import Client

from shop.people.models import Attempt
from shop.trail.models import TrailRow
from tests.factories.people import PASSWORD

pytestmark = pytest.mark.django_db


def sign_in(client, username="pim", password=PASSWORD, **more):
    return client.post("/sign-in/", {"username": username, "password": password, **more})


def test_signing_in_takes_a_new_session_key_and_goes_where_one_wanted(office, client):
    client.get("/sign-in/")
    session = client.session
    session["before"] = "planted"
    session.save()
    client.cookies["tallybench_session"] = session.session_key
    answer = sign_in(client, " PIM ", next="/people/?q=a")
    assert (answer.status_code, answer["Location"]) == (303, "/people/?q=a")
    assert client.session.session_key != session.session_key
    assert client.get("/sign-in/?next=/me/")["Location"] == "/me/"
    row = TrailRow.objects.get(verb="person.signed-in")
    assert (row.by, row.detail) == (office, {"how": "password", "address": "127.0.0.1"})


@pytest.mark.parametrize(
    "target",
    ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", "javascript:alert(1)", "/api/v1/me/",
     "/sign-in/", "me/", "/me/\n", "///x", "/" + "x" * 3000],
)  # fmt: skip
def test_it_only_goes_to_pages_of_this_site(office, client, target):
    assert sign_in(client, next=target)["Location"] == "/"


@pytest.mark.parametrize(
    ("username", "password"),
    [("pim", "wrong"), ("nobody", PASSWORD), ("pim\x00", PASSWORD), ("pim", PASSWORD + "\x00")],
)
def test_a_wrong_one_is_refused_in_the_same_words_and_noted(office, client, username, password):
    answer = sign_in(client, username, password)
    assert answer.status_code == 422
    assert "don’t belong" in answer.content.decode() or "don&#x27;t belong" in answer.content.decode()
    assert "_auth_user_id" not in client.session
    row = TrailRow.objects.get(verb="sign-in.failed")
    assert row.by is None
    assert row.subject == ("person" if username == "pim" else "attempt")
    assert username not in json.dumps(row.detail)


def test_somebody_who_left_does_not_get_in(office, client):
    office.is_active = False
    office.save()
    assert sign_in(client).status_code == 422


def test_empty_fields_are_asked_for_without_counting(office, client):
    assert sign_in(client, password="").status_code == 422
    assert not Attempt.objects.exists()


def test_guessing_waits_longer_and_longer_and_ends_with_the_hour(office, client, stopped):
    for _ in range(5):
        assert sign_in(client, password="wrong").status_code == 422
    refused = sign_in(client)
    assert (refused.status_code, refused["Retry-After"]) == (429, "2")
    stopped.on(3)
    assert sign_in(client, password="wrong").status_code == 422
    stopped.on(3)
    assert sign_in(client).status_code == 429
    stopped.on(3600)
    assert sign_in(client).status_code == 303


def test_someone_elses_guessing_keeps_nobody_out(office, client, stopped):
    assert sign_in(client).status_code == 303
    client.post("/sign-out/")
    attacker = Client()
    for _ in range(5):
        sign_in(attacker, password="wrong")
    assert sign_in(attacker).status_code == 429
    assert sign_in(client).status_code == 303, "the browser that is known has its own count, even at the same address"
    elsewhere = Client(REMOTE_ADDR="198.51.100.7")
    assert sign_in(elsewhere).status_code == 303


def test_one_address_trying_many_names_is_slowed_down(db, client, stopped):
    answers = [sign_in(client, f"name{n}", "wrong").status_code for n in range(41)]
    assert answers == [422] * 40 + [429]


def test_right_sign_ins_do_not_use_up_the_address(office, db):
    for n in range(45):
        assert sign_in(Client()).status_code == 303, n


def test_sign_out_ends_the_session(office, client):
    sign_in(client)
    assert client.get("/sign-out/").status_code == 405
    client.post("/sign-out/")
    assert "_auth_user_id" not in client.session


def test_csrf_is_asked_for(office):
    assert sign_in(Client(enforce_csrf_checks=True)).status_code == 403
