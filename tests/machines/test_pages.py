import re
import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.machines import actions
from jobs.machines.models import Customer, Machine, UsageReading
from shop.trail.models import TrailRow
from tests.factories.machines import customer, machine

pytestmark = pytest.mark.django_db
HUGE = "ü" * 20_000


@pytest.fixture
def at_desk(client, office):
    client.force_login(office)
    return client


def form(**fields):
    return {"once": str(uuid.uuid4())} | fields


CUSTOMER = {"name": "Mara Quill", "kind": "person", "language": "en"}
MACHINE = {"kind": "engine", "maker": "Brindlecote", "serial_no": "B2-40417", "usage_unit": "HUR"}


def test_add_a_customer_then_the_machine_with_its_hours(at_desk):
    answer = at_desk.post(
        "/customers/new/", form(**CUSTOMER, mail_consent="on", extra_work_limit="250,50"), follow=True
    )
    made = Customer.objects.get()
    assert answer.redirect_chain == [(f"/customers/{made.pk}/", 303)]
    page = answer.content.decode()
    assert "Customer added." in page
    assert "Mara Quill" in page
    assert (str(made.extra_work_limit), made.mail_consent_at is None) == ("250.5000", False)
    answer = at_desk.post(f"/machines/new/?customer={made.pk}", form(**MACHINE, value="4210,5"), follow=True)
    page = answer.content.decode()
    assert "B2-40417" in page
    assert "4,210.5" in page
    assert UsageReading.objects.get().machine == Machine.objects.get()


def test_a_wrong_reading_adds_no_machine(at_desk):
    owner = customer()
    answer = at_desk.post(f"/machines/new/?customer={owner.pk}", form(**MACHINE, value="99999999"))
    assert answer.status_code == 422
    assert "more than a meter can show" in answer.content.decode()
    assert not Machine.objects.exists()


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": ""}, "required"),
        ({"name": "\u200b\u202e"}, "left empty"),
        ({"name": HUGE}, "160 characters"),
        ({"email": "nobody"}, "valid email"),
        ({"country": "XX"}, "not one of the available choices"),
        ({"vat_no": "DE136695978"}, "not whether the number is registered"),
        ({"payment_days": "-3"}, "greater than or equal to 0"),
        ({"extra_work_limit": "1,234"}, "can be read two ways"),
        ({"extra_work_limit": "Infinity"}, "“Infinity” is not a number"),
        ({"note": HUGE}, "4000 characters"),
    ],
)
def test_bad_input_keeps_what_was_typed_and_writes_nothing(at_desk, fields, said):
    answer = at_desk.post("/customers/new/", form(**CUSTOMER | {"contact": "Ina Vell"} | fields))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert 'value="Ina Vell"' in page
    assert not Customer.objects.exists()


def test_a_double_click_adds_once(at_desk):
    sent = form(**CUSTOMER)
    first, second = at_desk.post("/customers/new/", sent), at_desk.post("/customers/new/", sent)
    assert first["Location"] == second["Location"]
    assert Customer.objects.count() == 1


def test_a_form_without_its_posting_id_is_refused(at_desk):
    answer = at_desk.post("/customers/new/", CUSTOMER)
    assert answer.status_code == 422
    assert "Load the page again" in answer.content.decode()
    assert not Customer.objects.exists()


def test_somebody_alike_is_linked_and_can_be_saved_all_the_same(at_desk):
    there = customer("Mara Quill")
    answer = at_desk.post("/customers/new/", form(**CUSTOMER, city="Gullhaven"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'href="/customers/{there.pk}/"' in page
    assert 'name="despite_duplicates"' in page
    assert 'value="Gullhaven"' in page
    assert at_desk.post("/customers/new/", form(**CUSTOMER, despite_duplicates="1")).status_code == 303
    assert Customer.objects.count() == 2


def test_the_same_serial_number_is_linked(at_desk):
    there = machine(serial_no="B2-40417")
    url = f"/machines/new/?customer={customer().pk}"
    page = at_desk.post(url, form(**MACHINE)).content.decode()
    assert f'href="/machines/{there.pk}/"' in page
    assert at_desk.post(url, form(**MACHINE, despite_duplicates="1")).status_code == 303


def test_a_stale_form_shows_the_newer_version_and_keeps_what_was_typed(at_desk, owner):
    row = customer("Mara Quill", city="Gullhaven")
    opened = at_desk.get(f"/customers/{row.pk}/edit/").content.decode()
    assert re.search(r'name="version" value="1"', opened)
    actions.edit_customer(row.pk, 1, by=owner, city="Port Averil", phone="021 555 0142")
    mine = CUSTOMER | {"city": "Saltmarsh Quay", "version": "1"}
    answer = at_desk.post(f"/customers/{row.pk}/edit/", form(**mine))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Somebody saved" in page
    assert "Port Averil" in page
    assert 'value="Saltmarsh Quay"' in page
    assert re.search(r'name="version" value="2"', page)
    row.refresh_from_db()
    assert row.city == "Port Averil"
    assert at_desk.post(f"/customers/{row.pk}/edit/", form(**mine | {"version": "2"})).status_code == 303
    row.refresh_from_db()
    assert (row.city, row.phone, row.version) == ("Saltmarsh Quay", "", 3)


def test_a_stale_machine_form_names_choices_by_their_words(at_desk, owner):
    row = machine(usage_unit="HUR")
    actions.edit_machine(row.pk, 1, by=owner, usage_unit="KMT")
    page = at_desk.post(f"/machines/{row.pk}/edit/", form(**MACHINE, version="1")).content.decode()
    assert "Kilometres" in page
    assert "Hours" in page
    assert 'value="B2-40417"' in page


def test_buttons_of_a_customer(at_desk):
    row = customer()
    for path, field in (("mail-consent/", {"agrees": "1"}), ("archive/", {})):
        assert at_desk.post(f"/customers/{row.pk}/{path}", form(**field)).status_code == 303
    row.refresh_from_db()
    assert row.mail_consent_at is not None
    assert row.archived_at is not None
    again = at_desk.post(f"/customers/{row.pk}/archive/", form(), follow=True)
    assert "archived already" in again.content.decode()
    at_desk.post(f"/customers/{row.pk}/restore/", form())
    at_desk.post(f"/customers/{row.pk}/mail-consent/", form(agrees="0"))
    row.refresh_from_db()
    assert (row.archived_at, row.mail_consent_at) == (None, None)


def test_whose_machine_it_is_comes_first(at_desk):
    row = customer("Ødegård & Søn")
    page = at_desk.get("/machines/new/", {"q": "odegard"}).content.decode()
    assert "No customer fits" in page  # Ø is a letter of its own, no accented o
    page = at_desk.get("/machines/new/", {"q": "ødegard"}).content.decode()
    assert f'href="?customer={row.pk}"' in page
    assert "name=Nobody" in at_desk.get("/machines/new/", {"q": "Nobody"}).content.decode()
    assert at_desk.get("/machines/new/", {"customer": "999"}).status_code == 404


def test_a_machine_gets_a_new_owner(at_desk):
    row, buyer = machine(), customer("Buyer")
    page = at_desk.get(f"/machines/{row.pk}/move/", {"q": "buyer"}).content.decode()
    assert "Move here" in page
    stale = at_desk.post(f"/machines/{row.pk}/move/?q=buyer", form(customer=buyer.pk, version="7"), follow=True)
    assert "Somebody saved this machine" in stale.content.decode()
    assert at_desk.post(f"/machines/{row.pk}/move/", form(customer=buyer.pk, version="1")).status_code == 303
    row.refresh_from_db()
    assert row.customer == buyer
    assert at_desk.post(f"/machines/{row.pk}/move/", form(customer="x", version="1")).status_code == 404


def test_reading_the_meter(client, mechanic):
    client.force_login(mechanic)
    row = machine()
    assert client.post(f"/machines/{row.pk}/readings/", form(value="4210")).status_code == 303
    refused = client.post(f"/machines/{row.pk}/readings/", form(value="12"))
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "new meter" in page
    assert 'value="12"' in page
    assert client.post(f"/machines/{row.pk}/readings/", form(value="12", note="new meter")).status_code == 303
    page = client.get(f"/machines/{row.pk}/").content.decode()
    assert page.count("<circle") == 2
    assert client.get(f"/machines/{row.pk}/readings/").status_code == 302
    future = client.post(f"/machines/{row.pk}/readings/", form(value="13", read_at="2199-01-01T10:00"))
    assert "lies in the future" in future.content.decode()
    assert UsageReading.objects.count() == 2


def test_right_to_left_and_markup_are_shown_as_text(at_desk):
    row = customer("ورشة <b>الميناء</b>", note="<script>alert(1)</script>")
    page = at_desk.get(f"/customers/{row.pk}/").content.decode()
    assert "ورشة &lt;b&gt;الميناء&lt;/b&gt;" in page
    assert "<script>alert" not in page


def test_lists_search_and_page(at_desk):
    for n in range(55):
        customer(f"Customer of many {n:02}", city="Gullhaven" if n % 2 else "")
    first = at_desk.get("/customers/").content.decode()
    further = re.search(r'href="\?(cursor=[^"]+)" rel="next"', first)[1]
    second = at_desk.get(f"/customers/?{further}").content.decode()
    assert "Customer of many 49" in first
    assert "Customer of many 50" in second
    assert "Customer of many 50" not in first
    assert "Customer of many 01" in at_desk.get("/customers/?text=gullhaven&cursor=rubbish").content.decode()
    assert "Nobody fits" in at_desk.get("/customers/?text=zzz").content.decode()
    machine(customer("Zed"), serial_no="Q/77-1")
    assert "Q/77-1" in at_desk.get("/machines/?serial=q771").content.decode()


@pytest.mark.parametrize("path", ["/customers/", "/machines/"])
def test_lists_take_as_many_queries_for_many_as_for_few(at_desk, office, path):
    counts = []
    for more in (3, 6):
        for _ in range(more):
            actions.read_usage(machine().pk, value=Decimal(1), by=office)
        with CaptureQueriesContext(connection) as seen:
            assert at_desk.get(path).status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1]


@pytest.mark.parametrize(
    ("path", "who"),
    [
        ("/customers/", {"owner", "office"}),
        ("/customers/new/", {"owner", "office"}),
        ("/customers/{c}/", {"owner", "office"}),
        ("/customers/{c}/edit/", {"owner", "office"}),
        ("/machines/", {"owner", "office", "mechanic", "stores"}),
        ("/machines/new/", {"owner", "office"}),
        ("/machines/{m}/", {"owner", "office", "mechanic", "stores"}),
        ("/machines/{m}/edit/", {"owner", "office"}),
        ("/machines/{m}/move/", {"owner", "office"}),
    ],
)
def test_rights(client, owner, office, mechanic, stores, path, who):
    row = machine()
    url = path.format(c=row.customer_id, m=row.pk)
    for role, person in (("owner", owner), ("office", office), ("mechanic", mechanic), ("stores", stores)):
        client.force_login(person)
        assert client.get(url).status_code == (200 if role in who else 403), role
    client.logout()
    assert client.get(url).status_code == 302


def test_what_a_mechanic_sees_of_a_machine(client, mechanic):
    client.force_login(mechanic)
    row = machine(customer("Mara Quill", phone="021 555 0142"))
    page = client.get(f"/machines/{row.pk}/").content.decode()
    assert "Mara Quill" in page
    assert f"/customers/{row.customer_id}/" not in page
    assert "021 555 0142" not in page
    assert "Archive" not in page
    assert client.post(f"/machines/{row.pk}/archive/", form()).status_code == 403
    assert not TrailRow.objects.filter(verb="machine.archived").exists()


def test_nothing_there(at_desk):
    for path in (
        "/customers/999/",
        "/customers/999/edit/",
        "/machines/999/",
        "/machines/999/edit/",
        "/machines/999/move/",
    ):
        assert at_desk.get(path).status_code == 404
    assert at_desk.post("/machines/999/readings/", form(value="1")).status_code == 404
