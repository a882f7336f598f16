"""In real Chromium: receive by scans, count a bin on a phone, and every page of the room without flaws."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.urls import reverse

from inventory.stock import actions
from inventory.stock.models import Lot, Movement
from shop.kernel import clock
from tests.browser.chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filled(stores):
    """A shelf with a bit of everything; {name: address}."""
    gasket = made_parts.part(stores, barcode="4006381333931", single_use=True, sale_price=D("38.50"))
    sealant = made_parts.sealant(stores, hazards=["H225", "P210"])
    shelf, site = made.bin_(stores), made.site()
    lot = made.lot(stores, gasket.pk, "7", source="Gullhaven Seals, note 114")
    tube = made.lot(stores, sealant.pk, "420", "0.171429", expires_on=clock.today() + timedelta(days=9), batch="K7")
    actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(2), label="card 26-0031")
    actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(1), label="card 26-0030, stage 4")
    here = [tube.pk, shelf.pk]
    names = ("stock:list", "stock:receive", "stock:movements", "stock:expiring", "stock:bins", "stock:add-bin")
    return {name: reverse(name) for name in ("parts:list", "parts:add", *names)} | {
        "parts:part": reverse("parts:part", args=[gasket.pk]), "parts:edit": reverse("parts:edit", args=[sealant.pk]),
        "stock:lot": reverse("stock:lot", args=[lot.pk]), "stock:place": reverse("stock:place", args=here),
        "stock:bin": reverse("stock:bin", args=[shelf.pk]), "stock:count": reverse("stock:count", args=[shelf.pk]),
    }  # fmt: skip


@pytest.mark.parametrize("width", [360, 1366])
def test_no_page_has_a_flaw(chromium, live_server, stores, filled, width):  # noqa: F811
    cookies = cookies_of(stores, live_server.url)
    flaws = {}
    for name, path in filled.items():
        with visit(chromium, live_server.url + path, width=width, cookies=cookies) as seen:
            if found := seen.flaws():
                flaws[name] = found
    assert flaws == {}


def test_receive_a_delivery_by_scans(chromium, live_server, stores, filled):  # noqa: F811
    url = live_server.url + filled["stock:receive"]
    with visit(chromium, url, cookies=cookies_of(stores, live_server.url)) as seen:
        seen.scan("4006381333931")
        seen.scan("A3-02")
        assert seen.page.input_value("#id_part") == "4006381333931"
        assert seen.page.input_value("#id_bin") == "A3-02"
        seen.page.fill("#id_quantity", "5")
        seen.page.fill("#id_unit_cost", "4.20")
        seen.page.get_by_role("button", name="Receive", exact=True).click()
        seen.page.wait_for_url("**/stock/lots/*/")
        assert (seen.axe(), seen.sideways()) == ([], 0)
    assert Movement.objects.filter(kind="receipt").count() == 3


def test_an_expired_batch_keeps_what_was_typed_and_says_what_to_do(chromium, live_server, stores, filled):  # noqa: F811
    url = live_server.url + filled["stock:receive"]
    with visit(chromium, url, width=360, cookies=cookies_of(stores, live_server.url)) as seen:
        values = {"part": "SEA-070", "bin": "A3-02", "quantity": "70", "unit_cost": "0.2", "expires_on": "2020-01-31"}
        for name, value in values.items():
            seen.page.fill(f"#id_{name}", value)
        seen.page.get_by_role("button", name="Receive", exact=True).click()
        seen.page.wait_for_selector(".error-summary")
        assert "quarantine" in seen.page.inner_text(".error-summary")
        assert seen.page.input_value("#id_quantity") == "70"
        assert (seen.axe(), seen.sideways()) == ([], 0)


def test_count_a_bin_on_a_phone(chromium, live_server, stores, filled):  # noqa: F811
    url = live_server.url + filled["stock:count"]
    one, two = Lot.objects.order_by("pk")
    with visit(chromium, url, width=360, cookies=cookies_of(stores, live_server.url)) as seen:
        seen.page.fill(f"#id_lot_{one.pk}", "5")
        seen.page.fill(f"#id_lot_{two.pk}", "420")
        seen.page.get_by_role("button", name="Counted").click()
        seen.page.wait_for_selector(".error-summary")
        assert "By the ledger 6 lie there" in seen.page.inner_text("main")
        assert (seen.axe(), seen.sideways()) == ([], 0)
        seen.page.fill("#id_reason", "one was torn")
        seen.page.get_by_role("button", name="Counted").click()
        seen.page.wait_for_url("**/stock/bins/*/")
    assert Movement.objects.get(kind="count").quantity == -1
