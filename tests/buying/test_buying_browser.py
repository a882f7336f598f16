"""In real Chromium on a phone: an order is received by typed scans, twice the same tube, and posted."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.buying.models import GoodsReceipt
from inventory.stock.models import Lot
from shop.kernel import clock
from tests.browser.chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)
from tests.factories import buying as made
from tests.factories import parts as made_parts

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
GTIN = "4006381333931"


def test_an_order_is_received_by_scans(chromium, live_server, stores):  # noqa: F811
    tube = made_parts.sealant(stores)
    made.offer(stores, tube, ("1", "8.05"), package="tube", content="70", gtin=GTIN)
    receipt = made.delivery(stores, made.sent(stores, tube, "140"))
    until = clock.today() + timedelta(days=300)
    url = live_server.url + reverse("buying:receipt", args=[receipt.pk])
    with visit(chromium, url, width=360, cookies=cookies_of(stores, live_server.url)) as seen:
        assert seen.flaws() == []
        for counted in ("70", "140"):
            with seen.page.expect_navigation():
                seen.scan(f"(01)0{GTIN}(17){until:%y%m%d}(10)B-77")
                if seen.page.input_value("#id_code"):
                    seen.page.get_by_role("button", name="Count it").click()
            seen.page.get_by_text(f"{counted}\xa0ml").first.wait_for()
        assert (seen.axe(), seen.sideways()) == ([], 0)
        seen.page.get_by_role("button", name="Post it").click()
        seen.page.get_by_text("Posted. It is in stock now.").wait_for()
        assert (seen.axe(), seen.sideways()) == ([], 0)
    lot = Lot.objects.get()
    assert (lot.batch, lot.expires_on) == ("B-77", until)
    assert GoodsReceipt.objects.get().number
