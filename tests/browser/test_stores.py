"""In real Chromium, on a phone: the last gasket goes to somebody else between page and press, and labels come as paper."""

from __future__ import annotations

from decimal import Decimal

import pytest

from inventory.labels import actions as labels
from inventory.stock.models import Movement
from jobs.draws import actions as draws
from tests.factories.desk import people, scene

from .chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_last_gasket_goes_to_somebody_else_between_page_and_press(chromium, live_server, transactional_db):  # noqa: F811
    cast, mine = people(), scene()
    other = scene()
    part, stage = mine.gasket, f"/cards/{mine.card.pk}/stages/{mine.fit.pk}"
    free = Movement.objects.filter(part=part, lot__part=part).values_list("quantity", flat=True)
    last = sum(free, Decimal(0))
    with visit(
        chromium, f"{live_server.url}{stage}/draw/?part={part.number}", width=360,
        cookies=cookies_of(cast["mechanic"], live_server.url),
    ) as seen:  # fmt: skip
        page = seen.page
        assert page.input_value("#id_quantity") == "1"
        draws.draw(by=cast["mechanic2"], stage_id=other.fit.pk, part_id=part.pk, quantity=last)
        page.get_by_role("button", name="Draw", exact=True).click()
        page.wait_for_selector(".error-summary")
        told = " ".join(page.inner_text("main").split())
        assert f"None of {part.number} lies here." in told
        assert page.input_value("#id_quantity") == "1"  # what was typed stays
        assert (seen.axe(), seen.sideways()) == ([], 0)
    assert not mine.fit.draws.exists()


def test_labels_are_printed_from_what_was_scanned(chromium, live_server, transactional_db):  # noqa: F811
    cast, made = people(), scene()
    labels.add_paper(by=cast["stores"], name="A4", width=Decimal(210), height=Decimal(297), rows=8, cols=3)
    url = f"{live_server.url}/labels/?code={made.gasket.number}"
    with visit(chromium, url, width=360, cookies=cookies_of(cast["stores"], live_server.url)) as seen:
        page = seen.page
        assert page.input_value("#id_codes") == made.gasket.number
        assert (seen.axe(), seen.sideways()) == ([], 0)
        page.fill("#id_codes", "NO-SUCH-CODE")
        page.get_by_role("button", name="Make the labels").click()
        page.wait_for_selector(".error-summary")
        assert "NO-SUCH-CODE" in page.inner_text(".error-summary")
        page.fill("#id_codes", f"{made.gasket.number} × 3\n{made.shelf.code}")
        with page.expect_response(lambda r: r.request.method == "POST") as answer:
            page.get_by_role("button", name="Make the labels").click()
        assert answer.value.status == 200
        assert answer.value.headers["content-type"] == "application/pdf"
