"""A card that is handed over and never billed: what it cost leaves work in progress, and comes back by the owner's word alone."""

import uuid
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.books import earned, gathering, progress
from jobs.cards import actions as cards
from jobs.cards import queries as card_queries
from jobs.cards.models import JobCard
from jobs.desk.queries import today
from jobs.invoices import actions
from jobs.invoices.models import Invoice
from shop.kernel import clock
from shop.kernel.errors import BadInput, NeedsOverride, NotAllowed, Refused
from tests.factories import invoices as make
from tests.factories import moments

from .test_invoices_pages import words

pytestmark = pytest.mark.django_db


@pytest.fixture
def card(owner) -> JobCard:
    """Two ring sets at 40.00 fitted, handed over."""
    row = make.finished(owner)
    cards.finish_card(row.pk, by=owner)
    return cards.hand_over(row.pk, by=owner)


def close(owner, card, reason="warranty", note="") -> JobCard:
    return actions.close_without_invoice(card.pk, by=owner, reason=reason, note=note)


def books() -> dict[str, D]:
    found: dict[str, D] = {}
    for entry in gathering.entries(date(2020, 1, 1), date(2100, 1, 1)):
        assert sum(x.amount for x in entry.lines) == 0, entry
        for x in entry.lines:
            found[x.purpose] = found.get(x.purpose, D(0)) + x.amount
    return {k: v for k, v in found.items() if v and k in ("work-in-progress", "unbilled-work", "cost-of-sales")}


def test_its_cost_becomes_an_expense_then(owner, card):
    assert books() == {"work-in-progress": D(80)}
    assert [x.card.pk for x in progress.report(clock.today(), "EUR").lines] == [card.pk]
    assert [x.pk for x in today.not_invoiced()] == [card.pk]
    row = close(owner, card, note="The seal of March")
    assert books() == {"unbilled-work": D(80)}
    assert progress.report(clock.today(), "EUR").lines == []
    assert today.not_invoiced() == []
    (job,) = earned.report(clock.today(), clock.today(), "EUR").lines
    assert (job.card.pk, job.net, job.parts) == (card.pk, 0, 80)
    assert job.earned < -80
    told = card_queries.history(card.pk, owner).filter(verb="card.unbilled").get()
    assert (told.by, told.detail["note"]) == (owner, "The seal of March")
    assert (row.unbilled_reason, row.unbilled_note) == ("warranty", "The seal of March")


def test_a_month_that_was_over_before_keeps_it_in_progress(owner, card):
    with clock.at(moments.away(40)):
        close(owner, card)
    with clock.at(moments.away(41)):
        assert progress.report(clock.today() - timedelta(days=30), "EUR").parts == 80
        assert progress.report(clock.today(), "EUR").parts == 0


def test_billed_all_the_same_by_the_owners_word(owner, office, card):
    close(owner, card)
    draft = make.draft(owner, card)
    with pytest.raises(NeedsOverride, match="closed without an invoice"):
        actions.issue_invoice(draft.pk, None, by=owner)
    with pytest.raises(NotAllowed):
        actions.issue_invoice(draft.pk, None, by=office, override="They pay after all")
    assert not Invoice.objects.exclude(number="").exists()
    with clock.at(clock.now() + timedelta(seconds=1)):
        actions.issue_invoice(draft.pk, None, by=owner, override="They pay after all")
    with clock.at(clock.now() + timedelta(seconds=2)):
        assert books() == {"cost-of-sales": D(80)}
        assert len(earned.report(clock.today(), clock.today(), "EUR").lines) == 1


def test_when_it_cannot_be(owner, card):
    with pytest.raises(BadInput, match="Choose one of: warranty, goodwill, own, other"):
        close(owner, card, "kindness")
    with pytest.raises(BadInput):
        close(owner, card, "other", " ")
    draft = make.draft(owner, card)
    with pytest.raises(Refused, match="Discard it first"):
        close(owner, card)
    actions.discard_invoice(draft.pk, None, by=owner)
    close(owner, card, "other", "Lent to the harbour fair")
    with pytest.raises(Refused, match="already"):
        close(owner, card)


def test_not_before_it_is_handed_over_nor_after_an_invoice(owner):
    row = make.finished(owner)
    with pytest.raises(Refused, match="isn't handed over"):
        close(owner, row)
    make.issued(owner, row)
    cards.finish_card(row.pk, by=owner)
    cards.hand_over(row.pk, by=owner)
    with pytest.raises(Refused, match="is invoiced"):
        close(owner, row)


def test_over_page_and_api(owner, office, api, card):
    browser = Client()
    browser.force_login(owner)
    page = f"/cards/{card.pk}/close-without-invoice/"
    assert "Close without an invoice" in words(browser.get(f"/cards/{card.pk}/"))
    wrong = browser.post(page, {"once": str(uuid.uuid4()), "reason": "other", "note": ""})
    assert wrong.status_code == 422
    assert api(office).post(f"cards/{card.pk}/close-without-invoice/", {"reason": "warranty"}).status_code == 403
    key, client = str(uuid.uuid4()), api(owner)
    for _ in range(2):
        done = client.post(
            f"cards/{card.pk}/close-without-invoice/", {"reason": "goodwill", "note": "Long with us"}, key=key
        )
        assert done.status_code == 200, done.content
    assert (done.json()["unbilled_reason"], done.json()["unbilled_note"]) == ("goodwill", "Long with us")
    seen = words(browser.get(f"/cards/{card.pk}/"))
    assert "Goodwill. Long with us" in seen
    assert "Close without an invoice" not in seen
    assert browser.post(page, {"once": str(uuid.uuid4()), "reason": "own", "note": ""}).status_code == 422
