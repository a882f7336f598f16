import uuid

import pytest
from django.urls import reverse

from shop.kernel import writing
from shop.trail import outbox
from shop.trail.models import OutboxRow, TrailRow
from shop.trail.record import announce

pytestmark = pytest.mark.django_db


@pytest.fixture
def given_up(db):
    """A mail that can't be delivered and was given up."""
    writing.run(lambda: announce("mail.send", to=["not an address"], subject="Ready", text="secret figures"))
    outbox.drain()
    return OutboxRow.objects.get()


def press(client, row, once=None):
    return client.post(reverse("outbox:send-again", args=[row.pk]), {"once": once or str(uuid.uuid4())}, follow=True)


def test_the_office_sees_what_was_not_delivered_and_why(client, office, given_up):
    client.force_login(office)
    page = client.get(reverse("outbox:list")).content.decode()
    assert "Mail to not an address" in page
    assert "is not a mail address" in page
    assert "Given up" in page
    assert "secret figures" not in page
    assert "Send again" not in page, "that takes the owner"


def test_the_owner_sends_again_and_it_is_tried_anew(client, owner, given_up):
    client.force_login(owner)
    once = str(uuid.uuid4())
    answer = press(client, given_up, once)
    press(client, given_up, once)
    assert "It is tried again now." in answer.content.decode()
    given_up.refresh_from_db()
    assert (given_up.failed_at, given_up.attempts) == (None, 0)
    assert TrailRow.objects.filter(verb="outbox.sent-again", by=owner).count() == 1
    given_up.payload["to"] = "mara@quill.example"
    given_up.save()
    assert outbox.drain() == 1
    given_up.refresh_from_db()
    assert given_up.done_at
    refused = press(client, given_up).content.decode()
    assert "This was delivered" in refused


def test_an_empty_outbox_says_so(client, owner):
    client.force_login(owner)
    assert "Everything was delivered" in client.get(reverse("outbox:list")).content.decode()
    assert "Nothing here" in client.get(reverse("outbox:list"), {"state": "failed"}).content.decode()


def test_the_api_lists_by_state_and_sends_again(api, owner, given_up):
    client = api(owner)
    writing.run(lambda: announce("from.the.future"))
    listed = {
        s: [i["topic"] for i in client.get("outbox/", state=s).json()["items"]] for s in ("open", "failed", "done")
    }
    assert listed == {"open": ["from.the.future", "mail.send"], "failed": ["mail.send"], "done": []}
    item = client.get(f"outbox/{given_up.pk}/").json()
    assert item["failed_at"]
    assert "payload" not in item
    again = client.post(f"outbox/{given_up.pk}/send-again/")
    assert again.status_code == 200, again.content
    assert again.json()["failed_at"] is None
    outbox.drain()
    OutboxRow.objects.filter(topic="from.the.future").update(done_at=given_up.created_at)
    done = OutboxRow.objects.get(topic="from.the.future")
    assert client.post(f"outbox/{done.pk}/send-again/").status_code == 409
    assert client.post("outbox/999/send-again/").status_code == 404


def test_rights(api, client, office, mechanic, stores, given_up):
    assert api(office).get("outbox/").status_code == 200
    assert api(office).post(f"outbox/{given_up.pk}/send-again/").status_code == 403
    for person in (mechanic, stores):
        assert api(person).get("outbox/").status_code == 403
        client.force_login(person)
        assert client.get(reverse("outbox:list")).status_code == 403
        assert press(client, given_up).status_code == 403
    given_up.refresh_from_db()
    assert given_up.failed_at


def test_the_list_takes_the_same_number_of_queries_for_twice_as_many(api, owner, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = api(owner)

    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert client.get("outbox/").status_code == 200
        return len(caught)

    for _ in range(5):
        writing.run(lambda: announce("from.the.future"))
    first = queries()
    for _ in range(5):
        writing.run(lambda: announce("from.the.future"))
    assert queries() == first
