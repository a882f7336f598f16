"""What the owner does with accounts."""

import re
import uuid

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from shop.kernel.errors import BadInput, Refused, Stale
from shop.people.actions import own, staff
from shop.people.models import Person
from shop.trail.models import TrailRow
from tests.factories.people import PASSWORD

pytestmark = pytest.mark.django_db


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def test_leaving_ends_sessions_and_tokens_at_once(owner, mechanic):
    working = signed_in(mechanic)
    token = own.make_token("Bench", by=mechanic)
    program = Client(headers={"Authorization": f"Bearer {token.token}"})
    assert working.get("/me/").status_code == 200
    assert program.get("/api/v1/machines/").status_code == 200
    staff.edit_person(mechanic.pk, 1, is_active=False, by=owner)
    assert working.get("/me/").status_code == 302
    assert program.get("/api/v1/machines/").status_code == 401
    staff.edit_person(mechanic.pk, 2, is_active=True, by=owner)
    assert working.get("/me/").status_code == 302, "coming back doesn't bring the old session back"
    assert program.get("/api/v1/machines/").status_code == 401


def test_there_is_always_an_owner(owner, office):
    for values in ({"is_active": False}, {"roles": ["office"]}):
        with pytest.raises(Refused, match="last owner"):
            staff.edit_person(owner.pk, 1, by=owner, **values)
    staff.edit_person(office.pk, 1, roles=["owner", "office"], by=owner)
    staff.edit_person(owner.pk, 1, roles=["office"], by=owner)
    with pytest.raises(Refused):
        staff.edit_person(office.pk, 2, roles=["office"], by=office)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"username": "Jory"}, "username"),
        ({"username": "9lives"}, "username"),
        ({"username": "a b"}, "username"),
        ({"username": "ünder"}, "username"),
        ({"username": "x" * 41}, "username"),
        ({"roles": []}, "roles"),
        ({"roles": ["boss"]}, "roles"),
        ({"password": "short"}, "password"),
        ({"password": "ada.fenn.ada"}, "password"),
        ({"cost_per_hour": "-1"}, "cost_per_hour"),
        ({"cost_per_hour": "NaN"}, "cost_per_hour"),
        ({"cost_per_hour": "1e9"}, "cost_per_hour"),
        ({"cost_per_hour": "1.00001"}, "cost_per_hour"),
    ],
)
def test_bad_accounts_are_refused(owner, mechanic, values, field):
    from decimal import Decimal

    good = {"username": "ada.fenn", "name": "Ada Fenn", "roles": ["stores"], "password": "quiet-harbour-9"}
    if "cost_per_hour" in values:
        values = {"cost_per_hour": Decimal(values["cost_per_hour"])}
    with pytest.raises(BadInput) as caught:
        staff.add_person(**(good | values), by=owner)
    assert field in caught.value.fields
    assert Person.objects.count() == 2


def test_the_pages(owner, office):
    client = signed_in(owner)
    fields = {
        "once": str(uuid.uuid4()), "name": "Ada Fenn", "username": "ada", "roles": ["stores", "mechanic"],
        "password": "quiet-harbour-9", "cost_per_hour": "23,50",
    }  # fmt: skip
    assert client.post("/people/add/", fields).status_code == 303
    ada = Person.objects.get(username="ada")
    assert (ada.roles, str(ada.cost_per_hour), ada.password_given) == (["mechanic", "stores"], "23.5000", True)
    edit = f"/people/{ada.pk}/"
    assert "Ada Fenn" in client.get(edit).content.decode()
    fields = {
        "once": str(uuid.uuid4()),
        "name": "Ada Fenn",
        "username": "ada",
        "roles": ["stores"],
        "version": "1",
        "is_active": "on",
    }
    assert client.post(edit, fields).status_code == 303
    stale = client.post(edit, fields | {"once": str(uuid.uuid4()), "name": "Ada Quill"})
    assert stale.status_code == 422
    assert "newer version" in stale.content.decode()
    assert 'value="Ada Quill"' in stale.content.decode()
    row = TrailRow.objects.filter(verb="person.changed").get()
    assert row.detail["changed"]["cost_per_hour"] == ["…", "…"]
    reader = signed_in(office)
    assert reader.get("/people/").status_code == 200
    assert reader.get(edit).status_code == 403
    assert client.get("/people/99999/").status_code == 404


def test_failed_sign_ins_are_shown_to_the_owner_only(owner, office):
    Client().post("/sign-in/", {"username": "pim", "password": "wrong"})
    assert "Sign-in failed" in signed_in(owner).get("/people/").content.decode()
    assert "Sign-in failed" not in signed_in(office).get("/people/").content.decode()


def test_signing_somebody_out_everywhere(owner, mechanic):
    working = signed_in(mechanic)
    staff.sign_out_everywhere(mechanic.pk, by=owner)
    assert working.get("/me/").status_code == 302


def test_a_stale_edit_is_refused(owner, mechanic):
    staff.edit_person(mechanic.pk, 1, name="J. Vane", by=owner)
    with pytest.raises(Stale):
        staff.edit_person(mechanic.pk, 1, name="Jory V.", by=owner)


def test_a_list_asks_the_database_as_often_for_many_as_for_few(owner, django_assert_max_num_queries):
    client = signed_in(owner)
    client.get("/people/")
    counts = []
    for size in (5, 10):
        for n in range(size):
            Person.objects.create(username=f"p{size}.{n}", name=f"P {n}", roles=["stores"], password="x")
        with django_assert_max_num_queries(20) as asked:
            client.get("/people/")
        counts.append(len(asked))
    assert counts[0] == counts[1]


class TestCommand:
    def test_adds_the_first_owner(self, monkeypatch, capsys, client):
        monkeypatch.setenv("TALLYBENCH_PASSWORD", "quiet-harbour-9")
        call_command("add_person", "ada", "--name", "Ada Fenn", "--role", "owner", "--role", "mechanic")
        assert "can sign in as ada (owner, mechanic)" in capsys.readouterr().out
        answer = client.post("/sign-in/", {"username": "ada", "password": "quiet-harbour-9"})
        assert (answer.status_code, answer["Location"]) == (303, "/")

    @pytest.mark.parametrize(
        ("arguments", "password", "says"),
        [
            (["Ada Fenn", "--name", "Ada", "--role", "owner"], "quiet-harbour-9", "^username: Use 2 to 40"),
            (["ada", "--name", " ", "--role", "owner"], "quiet-harbour-9", "^name: "),
            (["ada", "--name", "Ada", "--role", "owner"], "short", "^password: .*too short"),
            (["ada", "--name", "Ada", "--role", "boss"], "quiet-harbour-9", "invalid choice"),
        ],
    )
    def test_says_what_is_wrong(self, monkeypatch, arguments, password, says):
        monkeypatch.setenv("TALLYBENCH_PASSWORD", password)
        with pytest.raises(CommandError) as caught:
            call_command("add_person", *arguments)
        assert re.search(says, str(caught.value))
        assert not Person.objects.exists()


def test_the_password_of_the_cast_is_what_tests_use(owner):
    assert owner.check_password(PASSWORD)
