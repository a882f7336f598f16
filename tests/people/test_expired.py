"""The session ended while a form was being filled in: what was typed is offered again, never sent by itself."""

import html
import json
import re
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from shop.people.models import Person
from tests.factories.people import PASSWORD

pytestmark = pytest.mark.django_db
TYPED = {
    "name": 'Ada "the <b>hand</b>" Fenn', "username": "ada", "roles": ["mechanic", "stores"],
    "password": "quiet-harbour-9", "email": "", "labour_class": "", "cost_per_hour": "",
}  # fmt: skip


def hidden(answer) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.content.decode()):
        found.setdefault(html.unescape(name), []).append(html.unescape(value))
    return found


def expired(client, path="/people/add/", **typed):
    return client.post(path, TYPED | {"once": str(uuid.uuid4())} | typed)


def carry_on(client, answer, username="maren"):
    fields = hidden(answer)
    data = {k: fields[k][0] for k in ("next", "kept", "lost") if k in fields}
    return client.post("/sign-in/", data | {"username": username, "password": PASSWORD})


def test_typed_text_survives_signing_in_and_is_sent_only_by_a_press(owner, client):
    answer = expired(client)
    assert answer.status_code == 401
    assert "What you typed is kept" in answer.content.decode()
    assert "quiet-harbour-9" not in answer.content.decode(), "a password is never written into a page"
    asked = carry_on(client, answer)
    assert asked.status_code == 200
    assert "signed in as Maren Holt" in asked.content.decode()
    assert 'action="/people/add/"' in asked.content.decode()
    assert not Person.objects.filter(username="ada").exists()
    fields = hidden(asked)
    assert fields["name"] == [TYPED["name"]]
    assert fields["roles"] == ["mechanic", "stores"]
    assert "password" not in fields
    sent = client.post("/people/add/", fields | {"password": "quiet-harbour-9"})
    assert sent.status_code == 303
    assert Person.objects.get(username="ada").name == TYPED["name"]


def test_a_wrong_password_first_keeps_it_too(owner, client):
    fields = hidden(expired(client))
    data = {"next": fields["next"][0], "kept": fields["kept"][0], "username": "maren", "password": "wrong"}
    again = client.post("/sign-in/", data)
    assert again.status_code == 422
    assert carry_on(client, again).status_code == 200


def test_files_are_lost_and_that_is_said(owner, client):
    answer = expired(client, photo=SimpleUploadedFile("a.jpg", b"x"), password="")
    assert "Files and passwords can" in answer.content.decode()
    assert "Files and passwords can" in carry_on(client, answer).content.decode()


def test_htmx_gets_the_form_in_place(owner, client):
    answer = client.post("/people/add/", TYPED, headers={"HX-Request": "true"})
    assert answer.status_code == 422
    assert hidden(answer)["next"] == ["/people/add/"]


@pytest.mark.parametrize(
    ("target", "kept"),
    [
        ("https://elsewhere.example/", '[["a", "b"]]'),
        ("//elsewhere.example/", '[["a", "b"]]'),
        ("/api/v1/suppliers/", '[["a", "b"]]'),
        ("/sign-out/", '[["a", "b"]]'),
        ("/nowhere/", '[["a", "b"]]'),
        ("/me/", '[["a", "b"]]'),
        ("/people/add/", "[1, 2]"),
        ("/people/add/", '[["a"]]'),
        ("/people/add/", '[["a", 1]]'),
        ("/people/add/", "{"),
        ("/people/add/", "[" * 5000),
        ("/people/add/", "null"),
    ],
)
def test_only_a_staff_page_that_takes_it_gets_it(owner, client, target, kept):
    answer = client.post("/sign-in/", {"username": "maren", "password": PASSWORD, "next": target, "kept": kept})
    assert answer.status_code == 303


def test_a_get_comes_back_to_the_page_with_its_query(owner, client):
    answer = client.get("/people/?name=a&b=1")
    assert answer["Location"] == "/sign-in/?next=%2Fpeople%2F%3Fname%3Da%26b%3D1"


def test_a_strange_site_can_not_plant_a_form(owner):
    """Without our CSRF cookie the page behind is never reached, so nothing of the sender is offered as typed."""
    answer = Client(enforce_csrf_checks=True).post("/people/add/", TYPED)
    assert answer.status_code == 403
    assert "Ada" not in answer.content.decode()


def test_kept_text_stays_inert(owner, client):
    raw = json.dumps([["note", "</script><img src=x onerror=alert(1)>"]])
    answer = client.post("/sign-in/", {"username": "maren", "password": PASSWORD, "next": "/people/add/", "kept": raw})
    assert "<img src=x" not in answer.content.decode()
