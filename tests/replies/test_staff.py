"""Links as staff make, mail, look at and revoke them: pages and API, one action behind both."""

import re
import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.machines import actions as machines
from jobs.replies import actions, queries
from jobs.replies.models import CustomerLink
from shop.config.masking import masked
from shop.documents import actions as documents
from shop.documents import uploads
from shop.documents.models import Attachment
from shop.kernel.errors import Refused
from shop.trail.models import KeptAnswer, OutboxRow
from tests.documents import hostile
from tests.factories import estimates as quote
from tests.factories import replies as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(office):
    client = Client()
    client.force_login(office)
    return client


def send(client, path, data=None, once=None):
    return client.post(path, {"once": once or str(uuid.uuid4()), **(data or {})})


def words(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def mailed_customer(owner):
    customer = quote.customer(email="niamh@ebbing.example")
    machines.give_mail_consent(customer.pk, by=owner)
    return customer


def test_from_the_estimate_to_a_link_and_back(browser, owner):
    issued = quote.issued(owner)
    assert "Links and photos" in words(browser.get(f"/estimates/{issued.pk}/"))
    where = f"/estimates/{issued.pk}/links/"
    once = str(uuid.uuid4())
    for _ in range(2):
        assert send(browser, where, {"days": "7"}, once).status_code == 303
    link = CustomerLink.objects.get()
    page = browser.get(where)
    (address,) = re.findall(r'value="http://testserver(/r/[^"]+)"', page.content.decode())
    assert address == make.path(link)
    assert page["Cache-Control"] == "private, no-store, no-transform"
    assert "data:image/svg+xml;base64," in page.content.decode(), "a code for the customer's camera"
    assert make.Phone(address).send({x.pk: "yes" for x in issued.lines.all()}).status_code == 303
    told = words(browser.get(f"/estimates/{issued.pk}/"))
    for said in (
        "What proves the answer of Niamh Tolan",
        "127.0.0.1",
        link.pdf_sha256,
        "opened 1 time",
        "By the link sent",
    ):
        assert said in told, said
    assert send(browser, f"/estimates/links/{link.pk}/revoke/").status_code == 303
    assert make.path(link) not in browser.get(where).content.decode()
    assert "Revoked" in words(browser.get(where))
    assert "answered" in words(browser.get(f"/cards/{issued.card_id}/history/"))


@pytest.mark.parametrize("days", ["", "0", "61", "-1", "x", "1.5", "9" * 30])
def test_days_that_cannot_be_are_refused(browser, owner, days):
    issued = quote.issued(owner)
    answer = send(browser, f"/estimates/{issued.pk}/links/", {"days": days})
    assert answer.status_code == 422
    assert not CustomerLink.objects.exists()


def test_no_link_to_what_is_not_offered(browser, owner, api):
    draft = quote.draft(owner)
    page = browser.get(f"/estimates/{draft.pk}/links/")
    assert page.status_code == 200
    assert "No link can be made" in words(page)
    refused = api(owner).post("customer-links/", {"estimate_id": draft.pk})
    assert (refused.status_code, refused.json()["type"].rsplit("/", 1)[-1]) == (409, "not-issued")
    assert api(owner).post("customer-links/", {"estimate_id": 10**9}).status_code in (404, 400)


def test_mail_needs_an_address_and_consent(browser, owner):
    link = make.link(owner)
    with pytest.raises(Refused, match="No mail address"):
        actions.mail_link(link.pk, by=owner, site="https://x.example/")
    customer = link.estimate.card.customer
    machines.edit_customer(customer.pk, None, by=owner, email="niamh@ebbing.example")
    with pytest.raises(Refused, match="hasn't agreed to be mailed"):
        actions.mail_link(link.pk, by=owner, site="https://x.example/")
    machines.give_mail_consent(customer.pk, by=owner)
    assert send(browser, f"/estimates/links/{link.pk}/mail/").status_code == 303
    link.refresh_from_db()
    assert link.mailed_to == "niamh@ebbing.example"
    row = OutboxRow.objects.get(topic="link.mail")
    assert row.payload == {"link": link.pk, "site": "http://testserver/"}


def test_made_and_mailed_in_one(browser, owner):
    issued = quote.issued(owner, quote.job(owner, mailed_customer(owner))[0])
    assert send(browser, f"/estimates/{issued.pk}/links/", {"days": "14", "mail": "on"}).status_code == 303
    assert CustomerLink.objects.get().mailed_at is not None


def test_only_so_many_links(owner, monkeypatch):
    monkeypatch.setattr(actions, "MOST_LINKS", 2)
    issued = quote.issued(owner)
    first, _ = make.link(owner, issued), make.link(owner, issued)
    with pytest.raises(Refused, match="Revoke one first"):
        make.link(owner, issued)
    actions.revoke_link(first.pk, by=owner)
    make.link(owner, issued)


def test_a_photo_is_ticked_where_the_link_is_made(browser, owner, mechanic):
    card, fit, *_ = quote.job(owner)
    issued = quote.issued(owner, card)
    checked = uploads.inspect("bore.jpg", hostile.picture())
    (photo,) = documents.add_files("stage", fit.pk, [checked], by=owner)
    paper = uploads.inspect("note.txt", b"Bore 2")
    (note,) = documents.add_files("jobcard", card.pk, [paper], by=owner)
    where = f"/estimates/{issued.pk}/links/"
    page = words(browser.get(where))
    assert "Show the customer bore.jpg" in page
    assert "note.txt" not in page
    ticked = send(browser, f"/files/{photo.pk}/show/", {"shown": "yes", "next": where})
    assert (ticked.status_code, ticked["Location"]) == (303, where)
    assert list(queries.photos(issued)) == [Attachment.objects.get(pk=photo.pk)]
    assert "Hide bore.jpg" in words(browser.get(where))
    send(browser, f"/files/{photo.pk}/show/", {"shown": "no", "next": where})
    assert not queries.photos(issued).exists()
    with pytest.raises(Refused, match="Only photos"):
        documents.show_customer(note.pk, by=owner, shown=True)
    bench = Client()
    bench.force_login(mechanic)
    assert send(bench, f"/files/{photo.pk}/show/", {"shown": "yes"}).status_code == 403


def test_over_the_api(api, owner, mechanic):
    issued = quote.issued(owner, quote.job(owner, mailed_customer(owner))[0])
    client = api(owner)
    made = client.post("customer-links/", {"estimate_id": issued.pk, "days": 3}, key="a-link-of-ours")
    assert made.status_code == 201, made.content
    link = made.json()
    assert client.post("customer-links/", {"estimate_id": issued.pk, "days": 3}, key="a-link-of-ours").json() == link
    assert (link["state"], link["opened"], CustomerLink.objects.count()) == ("open", 0, 1)
    address = client.get(f"customer-links/{link['id']}/address/").json()["address"]
    path = address.removeprefix("http://testserver")
    assert path not in "".join(KeptAnswer.objects.values_list("body", flat=True)), "no kept answer holds a secret"
    line = issued.lines.first()
    assert make.Phone(path).send({line.pk: "no"}).status_code == 303
    (reply,) = client.get("replies/", estimate_id=issued.pk).json()["items"]
    assert (reply["said_by"], reply["address"], reply["link_id"]) == ("Niamh Tolan", "127.0.0.1", link["id"])
    assert reply["wording"]["lines"][0] | {"accepted": False, "line_id": line.pk} == reply["wording"]["lines"][0]
    assert client.get(f"replies/{reply['id']}/").json() == reply
    assert client.post(f"customer-links/{link['id']}/mail/").json()["mailed_to"] == "niamh@ebbing.example"
    assert client.post(f"customer-links/{link['id']}/revoke/").json()["state"] == "revoked"
    assert client.get(f"customer-links/{link['id']}/address/").status_code == 409
    assert client.post(f"customer-links/{link['id']}/mail/").status_code == 409
    for body in ({"days": 0}, {"days": 61}, {"days": "3"}, {"token": "x"}, {"expires_at": "2030-01-01T00:00:00Z"}):
        refused = client.post("customer-links/", {"estimate_id": issued.pk, **body})
        assert refused.status_code == 400, body
    for path in ("customer-links/", "replies/"):
        assert api(mechanic).get(path, estimate_id=issued.pk).status_code == 403
    assert api(mechanic).get(f"customer-links/{link['id']}/address/").status_code == 403


def test_a_photo_is_ticked_over_the_api(api, owner, mechanic):
    card, *_ = quote.job(owner)
    (photo,) = documents.add_files("jobcard", card.pk, [uploads.inspect("b.jpg", hostile.picture())], by=owner)
    shown = api(owner).post(f"files/{photo.pk}/show/", {"shown": True})
    assert (shown.status_code, shown.json()["shown_to_customer"]) == (200, True)
    assert api(mechanic).post(f"files/{photo.pk}/show/", {"shown": False}).status_code == 403
    assert api(owner).post(f"files/{photo.pk}/show/", {"shown": "yes"}).status_code == 400


def test_lists_ask_as_often_for_twice_as_many(api, owner):
    issued = quote.issued(owner)
    client = api(owner)

    def asked(path: str) -> int:
        client.get(path, estimate_id=issued.pk)
        with CaptureQueriesContext(connection) as told:
            assert client.get(path, estimate_id=issued.pk).status_code == 200
        return len(told)

    def links(many: int) -> None:
        for _ in range(many):
            link = make.link(owner, issued)
            line = next(pk for pk, word in make.standing(issued).items() if word == "open")
            make.Phone(link).send({line: "yes"})

    links(1)
    few = {path: asked(path) for path in ("customer-links/", "replies/")}
    links(2)
    assert {path: asked(path) for path in few} == few
    assert max(few.values()) <= 4


def test_no_log_line_holds_a_token():
    assert masked("GET /r/AbC_dEf-0123456789/ 500") == "GET /r/…/ 500"
    assert masked("/r/AbC_dEf-0123456789/photos/3/") == "/r/…/photos/3/"
    assert masked("/parts/12/") == "/parts/12/"


def test_a_crash_logs_no_token(owner, monkeypatch, caplog):
    from jobs.replies.pages import public
    from shop.config.masking import Masked

    def broken(*args, **kwargs):
        raise RuntimeError("broken")

    link = make.link(owner)
    monkeypatch.setattr(public.showing, "document", broken)
    caplog.handler.addFilter(Masked())
    client = Client(raise_request_exception=False)
    assert client.get(make.path(link)).status_code == 500
    assert caplog.records
    assert make.path(link) not in caplog.text
    assert "/r/…/" in caplog.text
