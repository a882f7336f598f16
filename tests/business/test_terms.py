"""The owner's terms of payment."""

import re
from datetime import date

import pytest

from shop.business import queries
from shop.kernel import clock
from tests.factories import estimates as quote

from .test_pages import desk, post, text  # noqa: F401

pytestmark = pytest.mark.django_db
GIVEN = {
    "early_percent": "2", "early_days": "10", "cash_step": "0.05", "remind_days_1": "7", "remind_fee_1": "0",
    "remind_days_2": "14", "remind_fee_2": "5", "remind_days_3": "14", "remind_fee_3": "10", "remind_pay_days": "10",
    "interest_percent": "8", "interest_from": "2", "storage_free_days": "14", "storage_per_day": "4",
}  # fmt: skip


def test_over_the_pages(desk, owner):  # noqa: F811
    quote.shop(owner)
    assert "none" in text(desk.get("/business/terms/"))
    for field, wrong in (
        ("early_percent", "51"), ("early_days", "0"), ("cash_step", "0.001"), ("remind_days_2", "0"), ("interest_from", "9"),
        ("remind_fee_3", "x"), ("storage_per_day", "-1"), ("interest_percent", ""),
    ):  # fmt: skip
        answer = post(desk, "/business/terms/edit/", **GIVEN | {field: wrong}, version="0")
        assert answer.status_code == 422, field
        assert field in answer.context["form"].errors
    assert queries.money_terms().version == 0
    assert post(desk, "/business/terms/edit/", **GIVEN, version="0").status_code == 303
    said = text(desk.get("/business/terms/"))
    for part in (
        "2 % within 10 days",
        "€0.05",
        "14 days after the first, fee €5.00",
        "a year, at the percentages below, from letter 2 on",
        "8 %",
        "€4.00 a day",
    ):
        assert part in said.replace("\u00a0", " "), part
    assert "8 %the beginning" in said.replace("\u00a0", " ")
    stale = post(desk, "/business/terms/edit/", **GIVEN | {"early_percent": "3"}, version="0")
    assert stale.status_code == 422
    assert "2" in str(queries.money_terms().early_percent)


def test_a_new_percentage_says_from_which_day(desk, owner):  # noqa: F811
    quote.shop(owner)
    post(desk, "/business/terms/edit/", **GIVEN, version="0")
    far = post(desk, "/business/terms/edit/", **GIVEN, interest_since="0206-07-01", version="1")
    assert "ten years" in str(far.context["form"].errors["interest_since"])
    post(desk, "/business/terms/edit/", **GIVEN | {"interest_percent": "10"}, interest_since="2026-07-01", version="1")
    said = text(desk.get("/business/terms/")).replace("\u00a0", " ")
    assert re.search(r"10 %(\w+ )?1 Jul 2026", said)
    post(desk, "/business/terms/edit/", **GIVEN | {"interest_percent": "9"}, version="2")
    assert [(x.percent, x.since) for x in queries.money_terms().interest_rates] == [
        (9, clock.today()), (10, date(2026, 7, 1)), (8, None),
    ]  # fmt: skip


def test_over_the_api(api, owner, office):
    quote.shop(owner)
    client = api(owner)
    read = client.get("payment-terms/")
    assert read.json()["remind_days_1"] == 7
    tag = read.headers["ETag"]
    done = client.patch("payment-terms/", {"early_percent": "2", "early_days": 8}, etag=tag)
    assert done.status_code == 200, done.content
    assert client.patch("payment-terms/", {"early_days": 9}, etag=tag).status_code == 412
    half = client.patch("payment-terms/", {"early_days": 0}, etag=done.headers["ETag"])
    assert half.json()["errors"][0]["pointer"] == "/early_days"
    assert api(office).patch("payment-terms/", {"early_days": 0}, etag=tag).status_code == 403
