"""Every page of the room in real Chromium, empty, full and refused, without flaws."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.urls import reverse

from shop.business import actions
from shop.business.models import LabourRate, TaxRate
from shop.kernel import clock
from tests.browser.chromium import (
    chromium,  # noqa: F401
    cookies_of,
    visit,
)
from tests.factories import estimates as made

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def pages(owner, *, full: bool) -> list[str]:
    names = ["profile", "edit", "sites", "add-site", "hours", "close-day", "vat", "add-vat", "labour", "add-labour"]
    found = [reverse(f"business:{name}") for name in names] + [reverse("business:set-hours", args=[6])]
    if full:
        made.shop(owner)
        later = clock.today() + timedelta(days=30)
        site = actions.open_site(code="SHED", name="Shed on the quay", by=owner)
        actions.close_day(day=later, reason="Regatta", by=owner)
        actions.set_hours(weekday=6, starts=clock.now().time().min, ends=clock.now().time().max, by=owner)
        actions.add_labour_rate(per_hour=D("72.50"), valid_from=later, labour_class="master", by=owner)
        rate, coming = TaxRate.objects.get(code="S13"), LabourRate.objects.get(labour_class="master")
        found.append(reverse("business:edit-site", args=[site.pk]))
        found += [reverse(f"business:{name}", args=[rate.pk]) for name in ("edit-vat", "change-vat", "end-vat")]
        found.append(reverse("business:edit-labour", args=[coming.pk]))
    return found


@pytest.mark.parametrize(("width", "full"), [(360, True), (1366, True), (360, False)])
def test_no_page_has_a_flaw(chromium, live_server, owner, width, full):  # noqa: F811
    flaws = {}
    for path in pages(owner, full=full):
        with visit(chromium, live_server.url + path, width=width, cookies=cookies_of(owner, live_server.url)) as seen:
            if found := seen.flaws():
                flaws[path] = found
    assert flaws == {}


def test_a_refusal_has_no_flaw_and_keeps_what_was_typed(chromium, live_server, owner):  # noqa: F811
    where = live_server.url + reverse("business:add-vat")
    with visit(chromium, where, width=360, cookies=cookies_of(owner, live_server.url)) as seen:
        seen.page.fill("#id_code", "EX")
        seen.page.fill("#id_name", "Training")
        seen.page.fill("#id_percent", "0")
        seen.page.select_option("#id_category", "E")
        seen.page.click("form button[type=submit] >> text=Save")
        seen.page.wait_for_selector(".field-error")
        assert "needs the reason" in seen.page.inner_text(".field-error")
        assert seen.page.input_value("#id_code") == "EX"
        assert (seen.axe(), seen.sideways()) == ([], 0)
