"""What binds the price is billed at it, however long it took and however much it took: a firm quotation, and additional work
under the customer's limit."""

from decimal import Decimal as D

import pytest

from jobs.cards import actions as cards
from jobs.estimates import actions as estimates
from jobs.estimates.models import EstimateLine
from jobs.invoices import actions
from jobs.machines import actions as machines
from shop.kernel.errors import BadInput, NeedsOverride
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


def done(owner, kind: str):
    """The job of factories.estimates: 3.5 h and two ring sets were said, 9 h and three sets it took."""
    card, fit, test, rings = quote.job(owner)
    said = quote.issued(owner, card, kind=kind)
    quote.say(owner, said, {line.pk: True for line in said.lines.all()})
    make.work(owner, fit, "9")
    make.use(owner, fit, rings, "3")
    cards.finish_stage(fit.pk, by=owner)
    make.work(owner, test, "2")
    cards.finish_stage(test.pk, by=owner)
    return said, actions.draft_invoice(by=owner, card_id=card.pk)


def test_a_firm_quotation_is_billed_at_its_price(owner):
    said, bill = done(owner, "quotation")
    assert (bill.total_net, bill.total_gross) == (said.total_net, said.total_gross)
    assert sorted(x.net for x in bill.lines.all()) == sorted(x.net for x in said.lines.all())
    line = bill.lines.order_by("-net").first()
    with pytest.raises(NeedsOverride):
        actions.edit_line(line.pk, None, by=owner, unit_price=line.unit_price + 1)


def test_control_an_estimate_is_billed_by_what_was_done(owner):
    said, bill = done(owner, "estimate")
    assert bill.total_net > said.total_net


def test_no_line_of_a_firm_quotation_is_billed_by_what_was_done(owner, api, client):
    card, *_ = quote.job(owner)
    draft = quote.draft(owner, card, kind="quotation")
    line = draft.lines.first()
    with pytest.raises(BadInput) as refused:
        estimates.edit_line(line.pk, None, by=owner, pricing="as-done")
    assert "pricing" in refused.value.fields
    answer = api(owner).post(
        "estimate-lines/", {"estimate_id": draft.pk, "text": "Weld", "unit_price": "5", "pricing": "as-done"}
    )
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/pricing")
    estimates.add_line(draft.pk, None, by=owner, text="Weld", unit_price=D(5))
    assert set(EstimateLine.objects.filter(estimate=draft).values_list("pricing", flat=True)) == {"fixed"}
    client.force_login(owner)
    page = client.get(f"/estimates/{draft.pk}/?line={line.pk}").content.decode()
    assert 'name="unit_price"' in page
    assert 'name="pricing"' not in page, "a firm quotation leaves no choice"


def test_what_went_on_under_the_limit_is_billed_as_it_was_said(owner):
    customer = quote.customer()
    machines.edit_customer(customer.pk, None, by=owner, extra_work_limit=D(300))
    card, *_ = quote.job(owner, customer)
    quote.agreed(owner, card)
    weld = quote.stage(owner, card, "Weld the manifold", kind="rework", standard_hours=D(2))
    notice = quote.issued(owner, card, kind="additional")
    assert notice.lines.filter(pricing="as-done", stage=weld).exists()
    estimates.go_on_within_limit(notice.pk, by=owner)
    make.work(owner, weld, "12")
    cards.finish_stage(weld.pk, by=owner)
    bill = actions.draft_invoice(by=owner, card_id=card.pk)
    of_notice = bill.lines.filter(estimate_line__estimate=notice)
    assert sum(x.net for x in of_notice) == notice.total_net <= 300
    assert not bill.lines.filter(stage=weld).exclude(estimate_line__estimate=notice).exists(), "nor the hours beyond it"
