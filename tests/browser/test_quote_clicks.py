"""A quote from a work plan in under ten clicks: counted in the browser, from the first page to the issued document."""

from __future__ import annotations

from decimal import Decimal

import pytest

from jobs.estimates.models import Estimate
from jobs.plans.drafts import PartDraft, StageDraft
from tests.factories import estimates as quote
from tests.factories import machines, moments, plans
from tests.factories.desk import catalogue, people
from tests.factories.timebook import working_hours

from .chromium import chromium, cookies_of  # noqa: F401
from .people import Album, Seat

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

COUNT = """addEventListener('click', e => {
  if (e.isTrusted && e.detail) sessionStorage.clicks = 1 + Number(sessionStorage.clicks || 0);
}, true);"""  # detail: a click of the pointer, not one that the browser makes of a key or a label


@pytest.fixture
def office(chromium, live_server, transactional_db):  # noqa: F811
    """The office's screen: a customer with a machine is known, and a plan with hours and parts for it."""
    cast = people()
    gasket, _tube, _shelf = catalogue(cast["stores"])
    quote.shop(cast["owner"])
    working_hours()
    plans.plan(
        name="Head gasket, Brindlecote B2", maker="Brindlecote", model="B2",
        stages=(
            StageDraft("Take off the head", "strip", Decimal("1.5")),
            StageDraft("Fit the head", "assemble", Decimal(2), after=(1,), parts=(PartDraft(gasket.pk, Decimal(1)),)),
        ),
    )  # fmt: skip
    machines.machine(
        quote.customer(),
        kind="marine diesel",
        maker="Brindlecote",
        model="B2",
        serial_no="B2-40992",
        despite_duplicates=True,
    )
    seat = Seat(chromium, live_server.url, cast["office"], Album("quote"), width=1366)
    seat.context.add_cookies(cookies_of(cast["office"], live_server.url))
    seat.context.add_init_script(COUNT)
    yield seat
    seat.context.close()


def test_from_the_first_page_to_an_issued_quotation(office):
    office.go("/")
    office.follow("Take a machine in")
    office.type("Serial number, machine, or the customer's name, phone or town", "B2-40992")
    office.press("Find")
    office.follow("Brindlecote B2")
    office.type("Complaint", "Loses coolant.")
    office.tick("Head gasket, Brindlecote B2")
    office.press("Open the card")
    office.reads("Card opened.")
    office.follow("Write an estimate")
    office.press("Draft it from the card")
    office.reads("Take off the head", "Fit the head", "GKT-041 Head gasket, B2")
    office.press("Issue")
    office.reads("Issued.", moments.numbered("EST", 1))
    issued = Estimate.objects.get()
    assert (issued.issued_at is not None, issued.total_net > 0) == (True, True)
    clicks = int(office.page.evaluate("sessionStorage.clicks"))
    assert 5 <= clicks < 10, f"{clicks} clicks"
    print(f"{clicks} clicks from the first page to an issued quote")
    assert office.flaws == []
