"""What people do for themselves: password, PIN, tokens, second step."""

import re
import uuid

import pyotp
import pytest
from django.test import Client

from shop.kernel.errors import BadInput
from shop.people import checks
from shop.people.actions import own
from shop.people.models import ApiToken, RecoveryCode
from shop.trail.models import TrailRow
from tests.factories.people import PASSWORD

pytestmark = pytest.mark.django_db
NEW = "copper-gasket-lane"


def send(client, path, **fields):
    return client.post(path, {"once": str(uuid.uuid4()), "password": PASSWORD} | fields)


def signed_in(person):
    client = Client()
    assert client.post("/sign-in/", {"username": person.username, "password": PASSWORD}).status_code == 303
    return client


class TestPassword:
    def test_changing_it_ends_other_sessions_and_keeps_this_one(self, mechanic):
        here, elsewhere = signed_in(mechanic), signed_in(mechanic)
        key = here.session.session_key
        answer = send(here, "/me/password/", new_password=NEW, again=NEW)
        assert answer.status_code == 303, answer.content.decode()
        assert here.get("/me/").status_code == 200
        assert here.session.session_key != key
        assert elsewhere.get("/me/").status_code == 302
        assert Client().post("/sign-in/", {"username": "jory", "password": PASSWORD}).status_code == 422
        assert TrailRow.objects.filter(verb="person.password-changed", by=mechanic).count() == 1

    @pytest.mark.parametrize(
        ("fields", "says"),
        [
            ({"password": "wrong"}, "not your present password"),
            ({"again": "other"}, "don&#x27;t match"),
            ({"new_password": "short", "again": "short"}, "too short"),
            ({"new_password": "password123", "again": "password123"}, "too common"),
            ({"new_password": "jory vane", "again": "jory vane"}, "too"),
            ({"new_password": PASSWORD, "again": PASSWORD}, "present password"),
        ],
    )
    def test_bad_ones_change_nothing(self, mechanic, fields, says):
        client = signed_in(mechanic)
        answer = send(client, "/me/password/", **({"new_password": NEW, "again": NEW} | fields))
        assert answer.status_code == 422
        assert says in answer.content.decode()
        mechanic.refresh_from_db()
        assert mechanic.check_password(PASSWORD)

    def test_the_present_password_can_not_be_guessed_at_speed(self, mechanic, stopped):
        client = signed_in(mechanic)
        for _ in range(5):
            send(client, "/me/password/", password="wrong", new_password=NEW, again=NEW)
        answer = send(client, "/me/password/", new_password=NEW, again=NEW)
        assert "Too many tries" in answer.content.decode()

    def test_a_given_password_is_replaced_before_anything_else(self, owner, mechanic):
        boss = signed_in(owner)
        answer = send(boss, f"/people/{mechanic.pk}/password/", password="given-by-maren-1")
        assert answer.status_code == 303
        client = Client()
        answer = client.post("/sign-in/", {"username": "jory", "password": "given-by-maren-1", "next": "/me/"})
        assert answer["Location"] == "/me/password/"
        assert client.get("/me/")["Location"] == "/me/password/"
        assert client.get("/api/v1/suppliers/").status_code == 403
        assert (
            send(client, "/me/password/", password="given-by-maren-1", new_password=NEW, again=NEW).status_code == 303
        )
        assert client.get("/me/").status_code == 200


class TestPin:
    @pytest.mark.parametrize(
        "weak",
        [
            "12345",
            "123456",
            "987654",
            "890123",
            "111111",
            "121212",
            "123123",
            "112211",
            "12345a",
            "１２３４５６",
            "",
            "1" * 13,
        ],
    )
    def test_weak_ones_are_refused(self, weak):
        with pytest.raises(BadInput) as caught:
            checks.pin(weak)
        assert "pin" in caught.value.fields

    def test_set_and_remove(self, mechanic):
        client = signed_in(mechanic)
        assert send(client, "/me/pin/", pin="582047").status_code == 303
        mechanic.refresh_from_db()
        assert mechanic.pin_hash
        assert "582047" not in mechanic.pin_hash
        assert send(client, "/me/pin/remove/").status_code == 303
        mechanic.refresh_from_db()
        assert mechanic.pin_hash == ""


class TestTokens:
    def test_shown_once_used_and_revoked(self, owner):
        client = signed_in(owner)
        fields = {"label": "Bench scale", "lasts": "30", "once": str(uuid.uuid4())}
        shown = send(client, "/me/tokens/add/", **fields)
        token = re.search(r'value="(tb_[^"]+)"', shown.content.decode())[1]
        again = send(client, "/me/tokens/add/", **fields)
        assert again.status_code == 303, "the same posting again makes no second token"
        assert token not in client.get("/me/").content.decode()
        kept = ApiToken.objects.get()
        assert token not in (kept.digest, kept.prefix)
        program = Client(headers={"Authorization": f"Bearer {token}"})
        assert program.get("/api/v1/suppliers/").status_code == 200
        assert send(client, f"/me/tokens/{kept.pk}/revoke/").status_code == 303
        assert program.get("/api/v1/suppliers/").status_code == 401

    def test_it_ends_in_time(self, owner, stopped):
        token = own.make_token("Short", by=owner, expires_at=stopped.moment.replace(hour=10))
        program = Client(headers={"Authorization": f"Bearer {token.token}"})
        assert program.get("/api/v1/suppliers/").status_code == 200
        stopped.on(3600)
        assert program.get("/api/v1/suppliers/").status_code == 401

    def test_a_token_makes_no_token_that_outlives_it(self, owner, stopped):
        first = own.make_token("A", by=owner, expires_at=stopped.moment.replace(hour=20))
        assert own.make_token("B", by=owner, made_with=first).expires_at == first.expires_at
        with pytest.raises(BadInput):
            own.make_token("C", by=owner, made_with=first, expires_at=stopped.moment.replace(hour=21))

    def test_someone_elses_is_not_there(self, owner, mechanic):
        token = own.make_token("A", by=mechanic)
        assert send(signed_in(owner), f"/me/tokens/{token.pk}/revoke/").status_code == 404
        token.refresh_from_db()
        assert token.revoked_at is None


class TestSecondStep:
    @pytest.fixture
    def secret(self):
        return pyotp.random_base32()

    @pytest.fixture
    def codes(self, office, secret, stopped):
        return own.start_two_step(secret, pyotp.TOTP(secret).at(stopped.moment), by=office)

    def begin(self, client, **more):
        return client.post("/sign-in/", {"username": "pim", "password": PASSWORD} | more)

    def test_set_up_by_the_page(self, office, stopped):
        client = signed_in(office)
        page = client.get("/me/two-step/").content.decode()
        secret = re.search(r'<span class="code">([A-Z2-7 ]+)</span>', page)[1].replace(" ", "")
        assert send(client, "/me/two-step/", code="000000").status_code == 422
        shown = send(client, "/me/two-step/", code=pyotp.TOTP(secret).at(stopped.moment))
        assert len(re.findall(r"<li>[A-Z2-7]{4}(-[A-Z2-7]{4}){3}</li>", shown.content.decode())) == 10
        assert client.get("/me/").status_code == 200
        office.refresh_from_db()
        assert office.totp_secret == secret

    def test_the_password_alone_lets_nobody_in(self, office, codes, client):
        answer = self.begin(client)
        assert answer.status_code == 200
        assert "Second step" in answer.content.decode()
        assert client.get("/me/").status_code == 302

    def test_a_code_works_once(self, office, codes, secret, client, stopped):
        stopped.on(60)
        code = pyotp.TOTP(secret).at(stopped.moment)
        self.begin(client, next="/me/")
        assert client.post("/sign-in/code/", {"code": code, "next": "/me/"})["Location"] == "/me/"
        other = Client()
        self.begin(other)
        assert other.post("/sign-in/code/", {"code": code}).status_code == 422
        assert other.get("/me/").status_code == 302

    def test_the_code_that_set_it_up_is_spent_and_old_ones_are_refused(self, office, codes, secret, client, stopped):
        self.begin(client)
        for moment in (stopped.moment.timestamp(), stopped.moment.timestamp() - 90, stopped.moment.timestamp() + 90):
            assert client.post("/sign-in/code/", {"code": pyotp.TOTP(secret).at(moment)}).status_code == 422

    def test_a_recovery_code_works_once(self, office, codes, client):
        self.begin(client)
        assert client.post("/sign-in/code/", {"code": codes[3].lower()}).status_code == 303
        other = Client()
        self.begin(other)
        assert other.post("/sign-in/code/", {"code": codes[3]}).status_code == 422
        assert RecoveryCode.objects.filter(used_at__isnull=True).count() == 9

    def test_guessing_is_slowed_down(self, office, codes, client, stopped):
        self.begin(client)
        answers = [client.post("/sign-in/code/", {"code": f"{n:06}"}).status_code for n in range(6)]
        assert answers == [422] * 5 + [429]

    def test_half_signed_in_ends(self, office, codes, client, stopped):
        self.begin(client)
        stopped.on(301)
        assert client.post("/sign-in/code/", {"code": codes[0]})["Location"] == "/sign-in/"
        assert client.get("/me/").status_code == 302

    def test_what_was_typed_goes_through_both_steps(self, office, codes, client):
        self.begin(client)
        answer = client.post(
            "/sign-in/code/", {"code": codes[0], "next": "/tablets/", "kept": '[["label", "Bench 9"]]'}
        )
        assert answer.status_code == 200
        assert 'value="Bench 9"' in answer.content.decode()

    def test_it_is_not_for_mechanics(self, mechanic):
        client = signed_in(mechanic)
        assert client.get("/me/two-step/")["Location"] == "/me/"

    def test_the_owner_can_switch_it_off_for_someone(self, owner, office, codes, client):
        assert send(signed_in(owner), f"/people/{office.pk}/two-step/off/").status_code == 303
        assert self.begin(client).status_code == 303
