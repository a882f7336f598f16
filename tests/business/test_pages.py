"""The owner's pages about the shop."""

from __future__ import annotations

import re
import uuid
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.test import Client
from django.utils.html import strip_tags

from shop.business import queries
from shop.business.models import ClosedDay, LabourRate, Site, TaxRate
from shop.kernel import clock
from tests.factories import business as made
from tests.factories.estimates import PROFILE

pytestmark = pytest.mark.django_db

LETTERHEAD = {k: str(v) for k, v in PROFILE.items() if k != "is_sample"} | {
    "currency": "EUR", "estimate_days": "30",
}  # fmt: skip


def at(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def desk(owner) -> Client:
    return at(owner)


def post(client, where, **fields):
    return client.post(where, {"once": str(uuid.uuid4()), **fields})


def text(answer) -> str:
    return re.sub(r"\s+", " ", strip_tags(answer.content.decode()))


def test_the_letterhead(desk):
    assert "Nothing filled in yet" in text(desk.get("/business/"))
    wrong = post(
        desk, "/business/edit/", **LETTERHEAD | {"iban": "IE64IRCE92050112345679", "vat_no": "IE1"}, version="0"
    )
    assert wrong.status_code == 422
    assert "iban" in wrong.context["form"].errors
    assert "vat_no" in wrong.context["form"].errors, "everything wrong is told at once"
    assert queries.profile().version == 0
    assert post(desk, "/business/edit/", **LETTERHEAD, version="0").status_code == 303
    row = queries.profile()
    assert (row.name, row.iban, row.sundries_percent) == ("Saltmarsh Engine Works", "IE64IRCE92050112345678", D("2.5"))
    page = text(desk.get("/business/"))
    for said in ("Old Slipway 3", "Ireland", "IE1234567FA", "2.5 %", "Ask an adviser"):
        assert said in page
    assert 'name="currency"' not in desk.get("/business/edit/").content.decode(), "asked once"
    moved = LETTERHEAD | {"street": "New Quay 1", "currency": "GBP"}
    assert post(desk, "/business/edit/", **moved, version="1").status_code == 303
    assert (queries.profile().street, queries.profile().currency) == ("New Quay 1", "EUR")
    stale = post(desk, "/business/edit/", **LETTERHEAD | {"city": "Elsewhere"}, version="1")
    assert stale.status_code == 422
    assert "New Quay 1" in text(stale)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""), ("email", "office"), ("country", "XX"), ("bic", "B" * 12), ("currency", "EURO"), ("currency", "ZZZ"),
        ("payment_days", "366"), ("estimate_days", "0"), ("sundries_percent", "101"),
        ("sundries_percent", "2.1234"),
    ],
)  # fmt: skip
def test_what_cannot_stand_on_a_letterhead(desk, field, value):
    answer = post(desk, "/business/edit/", **LETTERHEAD | {field: value}, version="0")
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert queries.profile().version == 0


def test_sites(desk):
    assert post(desk, "/business/sites/new/", code="QUAY", name="Quay shop").status_code == 303
    same = post(desk, "/business/sites/new/", code="quay", name="Other")
    assert "already a site" in text(same)
    quay = Site.objects.get()
    alone = desk.get("/business/sites/").content.decode()
    assert "Put away" not in alone, "the last site stays"
    last = desk.post(f"/business/sites/{quay.pk}/archive/", {"once": str(uuid.uuid4())}, follow=True)
    assert "This is the last site" in text(last)
    post(desk, "/business/sites/new/", code="SHED", name="Shed")
    assert post(desk, f"/business/sites/{quay.pk}/", code="QUAY", name="The quay", version="1").status_code == 303
    assert "newer version" in text(post(desk, f"/business/sites/{quay.pk}/", code="Q", name="Old", version="1"))
    assert post(desk, f"/business/sites/{quay.pk}/archive/").status_code == 303
    assert [s.code for s in queries.sites()] == ["SHED"]
    assert desk.get("/business/sites/999/").status_code == 404


def test_working_time(desk):
    page = text(desk.get("/business/hours/"))
    assert "Nobody has set the hours yet" in page
    assert "08:00 – 17:00" in page
    wrong = post(desk, "/business/hours/6/", starts="12:00", ends="08:00")
    assert "The end must lie after the start" in text(wrong)
    assert post(desk, "/business/hours/6/", starts="08:00", ends="12:00").status_code == 303
    assert sorted(queries.calendar().week) == [1, 2, 3, 4, 5, 6], "the usual days stay"
    saturday = queries.working_hours().get(weekday=6)
    post(desk, f"/business/hours/rows/{saturday.pk}/close/")
    assert sorted(queries.calendar().week) == [1, 2, 3, 4, 5]
    assert 'value="12:30"' in desk.get("/business/hours/1/").content.decode(), "what holds stands in the form"
    assert desk.get("/business/hours/8/").status_code == 404
    day = clock.today() + timedelta(days=40)
    assert post(desk, "/business/closed-days/new/", day=day.isoformat(), reason="Regatta").status_code == 303
    assert "Regatta" in text(desk.get("/business/hours/"))
    assert "already closed" in text(post(desk, "/business/closed-days/new/", day=day.isoformat(), reason="Again"))
    post(desk, f"/business/closed-days/{ClosedDay.objects.get().pk}/open/")
    assert not ClosedDay.objects.exists()


def test_vat_rates(desk):
    new = {"code": "S23", "name": "Standard", "category": "S", "percent": "23", "valid_from": "2024-01-01"}
    page = desk.get("/business/vat/")
    assert "no estimate and no invoice can be written" in text(page)
    assert "Have a tax adviser confirm them" in text(page)
    assert post(desk, "/business/vat/new/", **new, is_default="on").status_code == 303
    exempt = new | {"code": "EX", "name": "Training", "category": "E", "percent": "0"}
    assert "needs the reason" in text(post(desk, "/business/vat/new/", **exempt))
    assert post(desk, "/business/vat/new/", **exempt | {"reason": "Article 132 (1) (i)"}).status_code == 303
    rate = TaxRate.objects.get(code="S23")
    change = f"/business/vat/{rate.pk}/change/"
    assert post(desk, change, percent="21", valid_from="2027-01-01", version="1").status_code == 422
    assert 'name="version" value="2"' in desk.get(change).content.decode(), "it was made the usual one meanwhile"
    early = post(desk, change, percent="21", valid_from="2024-01-01", version="2")
    assert "must come after" in text(early)
    day = clock.today() + timedelta(days=30)
    assert post(desk, change, percent="21", valid_from=day.isoformat(), version="2").status_code == 303
    assert (queries.tax_rate("S23").percent, queries.tax_rate("S23", day).percent) == (D(23), D(21))
    assert "Coming" in text(desk.get("/business/vat/"))
    other = TaxRate.objects.get(code="EX")
    own = {"reason_de": "Steuerfrei nach Art. 132"}
    assert (
        post(desk, f"/business/vat/{other.pk}/", name="Courses", reason="Art. 132", version="1", **own).status_code
        == 303
    )
    assert "Steuerfrei nach Art. 132" in text(desk.get("/business/vat/"))
    assert 'value="Steuerfrei nach Art. 132"' in desk.get(f"/business/vat/{other.pk}/").content.decode()
    stale = post(desk, f"/business/vat/{other.pk}/", name="Old", reason="Art. 132", version="1")
    assert (stale.status_code, TaxRate.objects.get(code="EX").name) == (422, "Courses")
    coming = queries.tax_rate("S23", day)
    refused = post(desk, f"/business/vat/{coming.pk}/end/", valid_to="2030-01-01", version=str(coming.version))
    assert "default rate" in text(refused)
    assert post(desk, f"/business/vat/{other.pk}/default/").status_code == 303
    assert queries.tax_rate().code == "EX"
    coming.refresh_from_db()
    end = (day + timedelta(days=365)).isoformat()
    assert post(desk, f"/business/vat/{coming.pk}/end/", valid_to=end, version=str(coming.version)).status_code == 303
    coming.refresh_from_db()
    assert coming.valid_to == date.fromisoformat(end)


def test_labour_rates(desk):
    assert "no work can be priced" in text(desk.get("/business/labour/"))
    assert post(desk, "/business/labour/new/", per_hour="68.50", valid_from="2024-01-01").status_code == 303
    twice = post(desk, "/business/labour/new/", per_hour="70", valid_from="2024-01-01")
    assert "already such a rate" in text(twice)
    later = (clock.today() + timedelta(days=20)).isoformat()
    fields = {"per_hour": "90", "stage_kind": "measure", "labour_class": "master", "valid_from": later}
    assert post(desk, "/business/labour/new/", **fields).status_code == 303
    coming = LabourRate.objects.get(stage_kind="measure")
    page = desk.get("/business/labour/").content.decode()
    assert "€68.50" in page
    assert page.count("/remove/") == 1, "only what is not in force yet can be taken away"
    assert post(desk, f"/business/labour/{coming.pk}/", per_hour="95", version="1").status_code == 303
    coming.refresh_from_db()
    assert coming.per_hour == D(95)
    assert post(desk, f"/business/labour/{coming.pk}/remove/").status_code == 303
    assert list(LabourRate.objects.values_list("per_hour", flat=True)) == [D("68.5")]
    assert post(desk, "/business/labour/new/", per_hour="-1", valid_from="2025-01-01").status_code == 422


def test_everybody_reads_and_the_owner_writes(owner, mechanic, office):
    made.tax_rates(owner)
    for person in (mechanic, office):
        client = at(person)
        for where in ("", "sites/", "hours/", "vat/", "labour/"):
            page = client.get(f"/business/{where}")
            assert page.status_code == 200
            assert "/new/" not in page.content.decode()
            assert "<form method" not in page.content.decode().split("<main", 1)[1].split("</main", 1)[0]
    assert "/business/" in at(owner).get("/").content.decode(), "in the owner's menu"
    assert 'href="/business/"' not in at(mechanic).get("/").content.decode()


def test_a_repeat_writes_once(desk):
    sent = {"once": str(uuid.uuid4()), "per_hour": "68", "valid_from": "2024-01-01"}
    first, second = desk.post("/business/labour/new/", sent), desk.post("/business/labour/new/", sent)
    assert (first.status_code, second.status_code, LabourRate.objects.count()) == (303, 303, 1)


def test_more_rows_ask_the_database_no_more(owner, django_assert_max_num_queries):
    desk = at(owner)
    made.tax_rates(owner)
    made.labour_rates(owner)
    desk.get("/business/vat/")
    for where in ("vat", "labour", "sites", "hours"):
        with django_assert_max_num_queries(8):
            desk.get(f"/business/{where}/")
