"""In real Chromium: a quote agreed on a phone and an invoice paid at the desk, and every page of both rooms in each of its
states without flaws."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.parts import actions as parts
from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.estimates import actions as estimates
from jobs.estimates.models import Estimate
from jobs.invoices import actions
from jobs.invoices.models import Invoice, Payment
from tests.browser.chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filled(owner) -> list[str]:
    """One document in each state, with optional, discounted, unpriced and never agreed lines."""
    card = make.finished(owner)
    paid = make.issued(owner, card)
    make.pay(owner, paid, "300")
    actions.credit_note(paid.pk, by=owner, reason="Half an hour too much", quantities={paid.lines.first().pk: D("0.5")})
    open_card = quote.card(owner, quote.customer(name="Fenland Drainage Co-operative"))
    quote.stage(owner, open_card, "Rebore cylinder 2 (sent out)", kind="sublet", standard_hours=D(0))
    measure = quote.stage(owner, open_card, "Measure bores", kind="measure")
    draft = quote.draft(owner, open_card)
    estimates.add_line(
        draft.pk, None, by=owner, kind="labour", text="If out of limit: hone", quantity=D(2), optional=True,
        stage_id=measure.pk,
    )  # fmt: skip
    dearer = quote.part(owner, "RNG-0781-OVERSIZE-0.50", "Ring set, first oversize, " + "B2" * 40)
    estimates.add_line(draft.pk, None, by=owner, part_id=dearer.pk)
    parts.edit_part(dearer.pk, None, by=owner, sale_price=D("99.95"))
    estimates.edit_line(
        draft.lines.first().pk, None, by=owner, discount_percent=D(10), discount_reason="Spring", detail="In two steps"
    )
    estimates.edit_estimate(
        draft.pk, None, by=owner, discount_percent=D(5), discount_reason="Old customer", note="Paint extra"
    )
    revised = Estimate.objects.get(card=card)
    waiting = quote.issued(owner, quote.card_with_work(owner, 3))
    third = quote.card_with_work(owner, 4)
    quote.agreed(owner, third)
    fit = Stage.objects.get(card=third)
    make.work(owner, fit, "2")
    make.use(owner, fit, quote.part(owner, "GKT-041", "Head gasket", "41.75"), "1")
    cards.finish_stage(fit.pk, by=owner)
    bill = make.draft(owner, third)
    first, line, who = draft.lines.first().pk, bill.lines.first().pk, card.customer_id
    note = Invoice.objects.get(kind="credit").pk
    return [
        "/estimates/", "/estimates/?state=withdrawn", f"/cards/{third.pk}/estimate/", f"/estimates/{draft.pk}/",
        f"/estimates/{draft.pk}/?line={first}", f"/estimates/{draft.pk}/?add=", f"/estimates/{revised.pk}/",
        f"/estimates/{waiting.pk}/", f"/estimates/{waiting.pk}/go-ahead/", f"/estimates/{waiting.pk}/withdraw/",
        "/invoices/", f"/invoices/{paid.pk}/", f"/invoices/{note}/", f"/invoices/{bill.pk}/",
        f"/invoices/{bill.pk}/?line={line}", f"/invoices/{bill.pk}/?add=", f"/invoices/{paid.pk}/credit/",
        f"/customers/{who}/account/", f"/customers/{who}/pay/?invoice={paid.pk}", f"/customers/{who}/refund/",
        f"/payments/{Payment.objects.first().pk}/reverse/", f"/cards/{card.pk}/", f"/customers/{who}/",
    ]  # fmt: skip


@pytest.mark.parametrize("width", [360, 820, 1366])
def test_no_page_has_a_flaw(chromium, live_server, owner, filled, width):  # noqa: F811
    cookies = cookies_of(owner, live_server.url)
    flaws = {}
    for path in filled:
        with visit(chromium, live_server.url + path, width=width, cookies=cookies) as seen:
            for figure in seen.page.query_selector_all(".how summary"):
                figure.click()
            if found := seen.flaws():
                flaws[path] = found
    assert flaws == {}


@pytest.mark.parametrize("script", [True, False])
def test_a_quote_is_agreed_on_a_phone(chromium, live_server, owner, script):  # noqa: F811
    card, fit, test, _rings = quote.job(owner)
    url, cookies = f"{live_server.url}/cards/{card.pk}/", cookies_of(owner, live_server.url)
    with visit(chromium, url, width=390, height=844, cookies=cookies, script=script) as seen:
        page = seen.page
        page.click("text=Write an estimate")
        page.click("text=Draft it from the card")
        page.click("a:has-text('Change') >> nth=0")
        page.fill("#line-form [name=quantity]", "4,25")
        page.click("text=Save the line")
        page.click("#issue button:has-text('Issue')")
        page.click("a.button:has-text('Record the customer')")
        for line in Estimate.objects.get().lines.all():
            page.check(f"[name=line_{line.pk}][value={'no' if line.stage_id == test.pk else 'yes'}]")
        page.check("[name=how][value=phone]")
        page.click("text=Record these answers")
        page.wait_for_selector("text=What the customer said")
        assert "3 yes, 1 no" in page.inner_text("main")
    fit.refresh_from_db(), test.refresh_from_db()
    assert (fit.go_ahead_at is not None, test.declined_at is not None) == (True, True)
    assert Estimate.objects.get().total_net == D("560.47")  # 289.00 + 85.00 + 172.80 and 2.5 % of them


def test_an_invoice_is_issued_and_paid_at_the_desk(chromium, live_server, owner):  # noqa: F811
    card = make.finished(owner)
    with visit(chromium, f"{live_server.url}/cards/{card.pk}/", cookies=cookies_of(owner, live_server.url)) as seen:
        page = seen.page
        page.click("text=Draft an invoice")
        page.dblclick("#issue button:has-text('Issue')")
        page.click("text=Record a payment")
        page.dblclick("text=Record the payment")
        page.wait_for_selector("text=Paid")
        assert "€0.00" in page.inner_text(".strip")
    assert Invoice.objects.get().number.endswith("-0001")
    assert Payment.objects.get().amount == D("667.95")


def test_nothing_runs_off_a_narrow_page_or_with_a_long_word(chromium, live_server, owner):  # noqa: F811
    cookies = cookies_of(owner, live_server.url)
    card = quote.card_with_work(owner, 5)
    quote.agreed(owner, card)
    quote.stage(owner, card, "Weld the manifold", kind="rework")
    more = quote.draft(owner, card, kind="additional")
    estimates.add_line(more.pk, None, by=owner, text="X" * 240, unit_price=D(5))
    more = estimates.issue_estimate(more.pk, None, by=owner)
    again = estimates.new_revision(more.pk, by=owner)
    again = estimates.issue_estimate(again.pk, None, by=owner)
    for path, width in ((f"/estimates/{again.pk}/", 360), (f"/estimates/{again.pk}/go-ahead/", 1366)):
        with visit(chromium, live_server.url + path, width=width, cookies=cookies) as seen:
            assert seen.sideways() <= 0, path
