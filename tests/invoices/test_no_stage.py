"""Labour that was agreed by what is done and names no stage, as it could be typed once: no hours can be booked on it, so it is
named on the draft, and charged as agreed once the owner says so."""

import re
import uuid
from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.estimates import actions as estimates
from jobs.estimates import pricing
from jobs.estimates.models import EstimateLine
from jobs.invoices import actions
from shop.kernel.errors import NotAllowed, Refused
from tests.factories import estimates as quote

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(owner, monkeypatch):
    """An agreed estimate of nothing else: two hours at 68."""
    card = quote.card(owner)
    draft = quote.draft(owner, card)
    line = estimates.add_line(
        draft.pk, None, by=owner, kind="labour", text="Help with the crane", quantity=D(2), pricing="fixed"
    )
    EstimateLine.objects.filter(pk=line.pk).update(pricing="as-done")
    with monkeypatch.context() as before:
        before.setattr(pricing, "has_no_hours", lambda *args: False)
        issued = estimates.issue_estimate(draft.pk, None, by=owner)
    quote.say(owner, issued, {line.pk: True})
    return issued, line


def test_it_is_named_and_charged_once(api, owner, office, agreed):
    issued, line = agreed
    client = api(owner)
    draft = client.post("invoices/", {"card_id": issued.card_id}).json()
    (left,) = client.get(f"invoices/{draft['id']}/left-out/").json()["items"]
    assert [left[x] for x in ("reason", "text", "quantity", "unit", "stage_id", "estimate_line_id")] == [
        "no-stage", "Help with the crane", "2", "HUR", None, line.pk,
    ]  # fmt: skip
    body = {"kind": "labour", "estimate_line_id": line.pk, "reason": "Two of us stood there"}
    assert api(office).post(f"invoices/{draft['id']}/charge-unagreed/", body).status_code == 403
    charged = client.post(f"invoices/{draft['id']}/charge-unagreed/", body)
    assert charged.status_code == 201, charged.content
    assert [charged.json()[x] for x in ("quantity", "unit_price", "net", "not_agreed", "estimate_line_id")] == [
        "2", "68.00", "136.00", "Two of us stood there", line.pk,
    ]  # fmt: skip
    assert "the owner charges it as agreed" in " ".join(charged.json()["how"])
    assert client.get(f"invoices/{draft['id']}/left-out/").json()["items"] == []
    again = client.post(f"invoices/{draft['id']}/charge-unagreed/", body)
    assert (again.status_code, again.json()["type"]) == (409, "/api/problems/nothing-left-out")
    assert client.post(f"invoices/{draft['id']}/issue/").status_code == 200
    with pytest.raises(Refused, match="isn't billed already"):
        actions.draft_invoice(by=owner, card_id=issued.card_id)


def test_on_the_page(owner, office, agreed):
    issued, line = agreed
    draft = actions.draft_invoice(by=office, card_id=issued.card_id)
    clerk, browser = Client(), Client()
    clerk.force_login(office), browser.force_login(owner)
    page = clerk.get(f"/invoices/{draft.pk}/").content.decode()
    assert "Help with the crane" in page
    assert "charged as it was agreed once the owner says so" in page
    assert "Charge it" not in page
    page = browser.get(f"/invoices/{draft.pk}/").content.decode()
    form = re.search(r'<form[^>]*/charge/".*?</form>', page, re.DOTALL).group()
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
    sent = fields | {"once": str(uuid.uuid4()), "reason": "Two of us stood there"}
    assert browser.post(f"/invoices/{draft.pk}/charge/", sent).status_code == 303
    assert draft.lines.get().net == 136
    with pytest.raises(NotAllowed):
        actions.charge_unagreed(draft.pk, None, by=office, kind="labour", estimate_line_id=line.pk, reason="x")


def test_a_discount_on_its_estimate_is_given(owner, agreed, monkeypatch):
    issued, _ = agreed
    revision = estimates.new_revision(issued.pk, by=owner)
    estimates.edit_estimate(revision.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    with monkeypatch.context() as before:
        before.setattr(pricing, "has_no_hours", lambda *args: False)
        estimates.issue_estimate(revision.pk, None, by=owner)
    line = revision.lines.get()
    quote.say(owner, revision, {line.pk: True})
    draft = actions.draft_invoice(by=owner, card_id=issued.card_id)
    charged = actions.charge_unagreed(
        draft.pk, None, by=owner, kind="labour", estimate_line_id=line.pk, reason="Two of us stood there"
    )
    assert (charged.discount_percent, charged.net, charged.discount_reason) == (10, D("122.40"), "Old customer")
