"""A rate's minimum hours: told on the estimate, billed once, and only where the customer was told or nobody had to be asked."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest

from jobs.estimates import actions as estimates
from jobs.estimates import explaining
from jobs.invoices import actions
from shop.business import actions as business
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def rate(owner):
    """At least two hours of testing are billed, at 70 an hour."""
    quote.shop(owner)
    day = clock.today() - timedelta(days=400)
    return business.add_labour_rate(per_hour=D(70), valid_from=day, stage_kind="test", minimum_hours=D(2), by=owner)


def labour(document):
    return [(x.quantity, x.net) for x in document.lines.filter(kind="labour")]


def job(owner, hours, **more):
    card = quote.card(owner)
    return card, quote.stage(owner, card, "Run on the brake", kind="test", standard_hours=D(hours), **more)


@pytest.mark.parametrize(
    ("language", "words"), [("en", "At least 2 h are charged"), ("de", "mindestens 2 Std. berechnet")]
)
def test_the_estimate_tells_it(owner, rate, language, words):
    card, _ = job(owner, "0.75")
    card.customer.language = language
    card.customer.save(update_fields=["language"])
    found = quote.draft(owner, card)
    (line,) = found.lines.filter(kind="labour")
    assert (line.quantity, line.net) == (2, 140)
    assert words in line.detail
    assert explaining.line(line, "EUR")[0] == (
        "Quantity: the minimum, 2 h, billed for such a stage once it is worked on; its standard hours are 0.75."
    )


def test_more_than_the_minimum_stays_as_it_is(owner, rate):
    card, stage = job(owner, "3")
    found = quote.draft(owner, card)
    assert labour(found) == [(3, 210)]
    estimates.issue_estimate(found.pk, None, by=owner)
    quote.say(owner, found, {x.pk: True for x in found.lines.all()})
    make.work(owner, stage, "0.5")  # nobody told them of a minimum
    assert labour(actions.draft_invoice(by=owner, card_id=card.pk)) == [(D("0.5"), 35)]


def test_billed_once_over_two_invoices(owner, rate):
    card, stage = job(owner, "0.75")
    quote.agreed(owner, card)
    make.work(owner, stage, "0.5")
    first = actions.draft_invoice(by=owner, card_id=card.pk)
    assert labour(first) == [(2, 140)]
    (line,) = first.lines.filter(kind="labour")
    assert explaining.line(line, "EUR")[0].endswith("booked are 0.5 h.")
    actions.issue_invoice(first.pk, None, by=owner)
    make.work(owner, stage, "1")
    from shop.kernel.errors import Refused

    with pytest.raises(Refused, match="isn't billed already"):
        actions.draft_invoice(by=owner, card_id=card.pk)
    make.work(owner, stage, "1")
    assert labour(actions.draft_invoice(by=owner, card_id=card.pk)) == [(D("0.5"), 35)]


def test_not_worked_on_not_billed(owner, rate):
    card, _ = job(owner, "0.75")
    other = quote.stage(owner, card, "Fit", needs_go_ahead=False)
    quote.agreed(owner, card)
    make.work(owner, other, "1")
    assert labour(actions.draft_invoice(by=owner, card_id=card.pk)) == [(1, 68)]


def test_a_stage_that_needs_no_go_ahead(owner, rate):
    card, stage = job(owner, "0.75", needs_go_ahead=False)
    make.work(owner, stage, "0.25")
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert labour(draft) == [(2, 140)]
    (line,) = draft.lines.filter(kind="labour")
    assert "the minimum, 2 h" in explaining.line(line, "EUR")[0]


def test_what_was_never_agreed_has_no_minimum(owner, rate):
    card, stage = job(owner, "0.75")
    free = quote.stage(owner, card, "Fit", needs_go_ahead=False)
    make.work(owner, free, "1")
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert labour(draft) == [(1, 68)]
    assert stage.started_at is None


@pytest.mark.parametrize("wrong", [D(-1), D("0.001"), D(25), D("NaN")])
def test_a_minimum_that_cannot_be(owner, rate, wrong):
    with pytest.raises(BadInput) as refusal:
        business.edit_labour_rate(rate.pk, None, minimum_hours=wrong, by=owner)
    assert "minimum_hours" in refusal.value.fields


def test_by_api_and_page(owner, rate, api, client):
    mine = api(owner)
    changed = mine.patch(f"labour-rates/{rate.pk}/", {"minimum_hours": "1.5"})
    assert (changed.status_code, changed.json()["minimum_hours"], changed.json()["per_hour"]) == (200, "1.5", "70.00")
    client.force_login(owner)
    text = client.get("/business/labour/").content.decode().replace("\u00a0", " ").replace("\u202f", " ")
    assert "At least" in text
    assert "1.50 h" in text
