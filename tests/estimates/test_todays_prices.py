"""A price that changed between draft and issue: told, taken or kept by somebody's word, never sent out unseen."""

import re
import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.test import Client

from inventory.parts import actions as parts
from jobs.estimates import actions, todays
from jobs.estimates.models import Estimate, EstimateLine
from shop.business import actions as business
from shop.business.models import TaxRate
from shop.kernel import clock
from shop.trail.models import TrailRow
from tests.factories import charges as charged
from tests.factories import estimates as make
from tests.factories import stock

pytestmark = pytest.mark.django_db
CHANGED = "/api/problems/price-changed"


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner)
    return client


def send(client, path, data=None):
    return client.post(path, {"once": str(uuid.uuid4()), **(data or {})})


def text_of(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\u00a0", " ").split())


def dearer(owner, line: EstimateLine, price: str = "99") -> None:
    parts.edit_part(line.part_id, None, by=owner, sale_price=D(price))


def dear_draft(owner):
    """Two ring sets at 86.40, which cost 99.00 by now."""
    draft = make.draft(owner)
    line = draft.lines.get(kind="part")
    dearer(owner, line)
    return draft, line


def told(client, pk: int) -> list[tuple]:
    rows = client.get(f"estimates/{pk}/price-changes/").json()["items"]
    return [(x["text"], x["old_price"], x["new_price"], x["carried"]) for x in rows]


def test_a_changed_price_stops_the_issue_and_names_both_ways_out(api, owner):
    draft, line = dear_draft(owner)
    client = api(owner)
    assert told(client, draft.pk) == [("RNG-078 Ring set, B2", "86.40", "99.00", False)]
    refused = client.post(f"estimates/{draft.pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, CHANGED)
    said = refused.json()["detail"].replace("\u00a0", " ")
    assert "line 3 “RNG-078 Ring set, B2”, €86.40, today €99.00." in said
    assert "Take today's prices, or say that the old ones are kept, then issue." in said
    assert refused.json()["facts"]["prices"][0]["line_id"] == line.pk
    assert Estimate.objects.get(pk=draft.pk).issued_at is None


def test_taking_todays_prices(api, owner, office):
    draft, line = dear_draft(owner)
    client = api(office)
    taken = client.post(f"estimates/{draft.pk}/todays-prices/")
    assert taken.status_code == 200, taken.content
    line.refresh_from_db()
    assert (line.unit_price, line.net, line.basis["price_on"]) == (99, 198, clock.today().isoformat())
    assert taken.json()["total_net"] == "534.03"  # 323.00 + 198.00, and 2.5 % of it for sundries
    assert told(client, draft.pk) == []
    version = Estimate.objects.get(pk=draft.pk).version
    client.post(f"estimates/{draft.pk}/todays-prices/")
    assert Estimate.objects.get(pk=draft.pk).version == version, "there is nothing left to take"
    row = TrailRow.objects.get(verb="estimate.prices-taken")
    assert (row.by, row.detail["count"], row.detail["prices"][0]["new_price"]) == (office, 1, "99")
    assert client.post(f"estimates/{draft.pk}/issue/").status_code == 200
    refused = client.post(f"estimates/{draft.pk}/todays-prices/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/issued")


def test_keeping_the_old_ones_is_noted(api, owner):
    draft, line = dear_draft(owner)
    client = api(owner)
    assert client.post(f"estimates/{draft.pk}/issue/", {"keep_prices": True}).status_code == 200
    line.refresh_from_db()
    assert line.unit_price == D("86.40")
    row = TrailRow.objects.get(verb="estimate.prices-kept")
    assert row.detail["prices"] == [
        {"line_id": line.pk, "text": "RNG-078 Ring set, B2", "old_price": "86.4", "new_price": "99"}
    ]
    assert told(client, draft.pk) == [], "what is issued stays as it is"


def test_nothing_is_noted_where_nothing_changed(owner):
    draft = make.draft(owner)
    actions.issue_estimate(draft.pk, None, by=owner, keep_prices=True)
    assert not TrailRow.objects.filter(verb="estimate.prices-kept").exists()


def test_the_sentence_stays_true(api, owner):
    _draft, line = dear_draft(owner)
    how = api(owner).get(f"estimate-lines/{line.pk}/").json()["how"]
    assert f"Price: the sale price in the catalogue, as of {clock.today()}." in how


def test_what_somebody_set_is_not_measured(api, owner):
    draft, line = dear_draft(owner)
    actions.edit_line(line.pk, None, by=owner, unit_price=D("90"))
    assert told(api(owner), draft.pk) == []
    assert api(owner).post(f"estimates/{draft.pk}/issue/").status_code == 200


def test_rates_rules_and_charges_are_measured_too(api, owner):
    card, _, nozzle = charged.job(owner)
    ruled = parts.add_part(by=owner, number="RNG-079", name="Ring set", kind="component")
    stock.lot(owner, ruled.pk, "4", "20.00")
    rule = parts.add_price_rule(by=owner, name="All parts", markup_percent=D(50))
    make.need(owner, card.stages.get(), ruled, "1")
    draft = make.draft(owner, card)
    parts.edit_price_rule(rule.pk, None, by=owner, markup_percent=D(60))
    parts.edit_charge(nozzle.charges.get(kind="core").pk, None, by=owner, amount=D(15))
    parts.archive_charge(nozzle.charges.get(kind="environmental").pk, None, by=owner)
    day = clock.today()
    business.add_labour_rate(per_hour=D(72), valid_from=day, by=owner)
    client = api(owner)
    found = {(text, old, new) for text, old, new, _ in told(client, draft.pk)}
    assert found == {
        ("Renew nozzles", "68.00", "72.00"), ("RNG-079 Ring set", "30.00", "32.00"),
        ("Deposit on the old nozzle", "12.50", "15.00"), ("Disposal", "0.40", None),
    }  # fmt: skip
    assert client.post(f"estimates/{draft.pk}/issue/").json()["type"] == CHANGED
    assert client.post(f"estimates/{draft.pk}/todays-prices/").status_code == 200
    prices = dict(draft.lines.values_list("text", "unit_price"))
    assert (prices["Renew nozzles"], prices["RNG-079 Ring set"], prices["Deposit on the old nozzle"]) == (72, 32, 15)
    assert "Disposal" not in prices, "it isn't charged any more"
    assert [x.position for x in draft.lines.all()] == list(range(1, draft.lines.count() + 1))
    assert client.post(f"estimates/{draft.pk}/issue/").status_code == 200


def test_a_price_there_is_not_any_more_has_to_be_set(api, owner):
    draft = make.draft(owner)
    line = draft.lines.get(kind="part")
    parts.edit_part(line.part_id, None, by=owner, sale_price=None)
    client = api(owner)
    assert told(client, draft.pk)[0][2] is None
    assert "today none" in client.post(f"estimates/{draft.pk}/issue/").json()["detail"]
    client.post(f"estimates/{draft.pk}/todays-prices/")
    assert client.post(f"estimates/{draft.pk}/issue/").json()["type"] == "/api/problems/price-missing"


def test_a_revision_keeps_what_the_customer_was_told(api, owner, browser):
    old = make.agreed(owner)
    line = old.lines.get(kind="part")
    dearer(owner, line)
    client = api(owner)
    draft = client.post(f"estimates/{old.pk}/new-revision/").json()["id"]
    assert told(client, draft) == [("RNG-078 Ring set, B2", "86.40", "99.00", True)]
    page = text_of(browser.get(f"/estimates/{draft}/"))
    assert "The customer was told the old ones in the revision before" in page
    assert "Keep the prices of this draft" not in page
    # one more part, added now and dearer tomorrow, was never told to anybody
    part = make.part(owner, "GKT-042", "Head gasket", "41.75")
    added = actions.add_line(draft, None, by=owner, part_id=part.pk)
    dearer(owner, added, "45")
    refused = client.post(f"estimates/{draft}/issue/")
    assert [x["text"] for x in refused.json()["facts"]["prices"]] == ["GKT-042 Head gasket"]
    actions.remove_line(added.pk, None, by=owner)
    assert client.post(f"estimates/{draft}/issue/").status_code == 200
    assert EstimateLine.objects.get(estimate=draft, kind="part").unit_price == D("86.40")


def test_a_revision_that_took_todays_price_is_measured_by_it(api, owner):
    old = make.issued(owner)
    line = old.lines.get(kind="part")
    dearer(owner, line)
    draft = actions.new_revision(old.pk, by=owner)
    actions.take_todays_prices(draft.pk, None, by=owner)
    dearer(owner, line, "110")
    assert told(api(owner), draft.pk) == [("RNG-078 Ring set, B2", "99.00", "110.00", False)]


def test_on_the_page(browser, owner):
    draft, line = dear_draft(owner)
    page = browser.get(f"/estimates/{draft.pk}/")
    assert "Prices have changed since" in text_of(page)
    assert "RNG-078 Ring set, B2 : €86.40, today €99.00" in text_of(page)
    given = {"valid_until": clock.today().isoformat(), "version": draft.version}
    refused = send(browser, f"/estimates/{draft.pk}/issue/", given)
    assert refused.status_code == 422
    assert "€86.40, today €99.00" in text_of(refused)
    assert 'name="keep_prices"' in refused.content.decode()
    assert send(browser, f"/estimates/{draft.pk}/todays-prices/").status_code == 303
    page = browser.get(f"/estimates/{draft.pk}/")
    assert "The prices are those of today." in text_of(page)
    assert "Prices have changed since" not in text_of(page)
    assert 'name="keep_prices"' not in page.content.decode()
    dearer(owner, line, "120")
    draft.refresh_from_db()
    kept = given | {"version": draft.version, "keep_prices": "on"}
    assert send(browser, f"/estimates/{draft.pk}/issue/", kept).status_code == 303
    page = text_of(browser.get(f"/estimates/{draft.pk}/"))
    assert "Issued with prices that are others today; kept: 1" in page
    line.refresh_from_db()
    assert line.unit_price == 99


def test_vat_that_is_another_at_issue_is_said(browser, owner):
    draft = make.draft(owner)
    day = clock.today()
    business.change_tax_rate(TaxRate.objects.get(code="S23").pk, None, percent=D(24), valid_from=day, by=owner)
    given = {"valid_until": day.isoformat(), "version": draft.version}
    assert send(browser, f"/estimates/{draft.pk}/issue/", given).status_code == 303
    page = text_of(browser.get(f"/estimates/{draft.pk}/"))
    assert "Issued. VAT is 24 %, not 23 % as on the draft: it comes to €630.17 with VAT. Hand it over" in page


@pytest.mark.parametrize("count", [3, 300])
def test_as_many_queries_for_many_lines_as_for_few(owner, count, django_assert_max_num_queries):
    card = make.card(owner)
    stage = make.stage(owner, card)
    for n in range(count):
        make.need(owner, stage, make.part(owner, f"RNG-{n:03}", "Ring set", "10"), "1")
    draft = make.draft(owner, card)
    parts.edit_part(draft.lines.filter(kind="part").first().part_id, None, by=owner, sale_price=D(11))
    with django_assert_max_num_queries(6):
        found = todays.of_draft(draft.pk)
    assert len(found.items) == 1
    day = clock.today() + timedelta(days=3)
    with django_assert_max_num_queries(40):
        actions.issue_estimate(draft.pk, None, by=owner, valid_until=day, keep_prices=True)
