from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.urls import reverse

from inventory.buying.models import SupplierInvoice
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories import parts as made_parts

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(stores):
    return made.sent(stores, made_parts.part(stores), "10")


@pytest.fixture
def line(stores, order):
    return made.received(stores, order, freight=D("4.00")).lines.get()


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def test_recorded_and_looked_at_three_ways(client, office, order, line):
    client.force_login(office)
    whose = client.get(reverse("buying:choose-bill"), {"supplier": order.supplier_id})
    page = whose["Location"]
    assert 'value="21.4"' in client.get(page).content.decode()
    fields = {
        "number": "R-100", "dated_on": str(clock.today()), "total": "222,50", f"quantity_{line.pk}": "10",
        f"price_{line.pk}": "22,25",
    }  # fmt: skip
    wrong = post(client, page, **fields | {"total": "220"})
    shown = wrong.content.decode()
    assert (wrong.status_code, "id_total_error" in shown, 'value="R-100"' in shown) == (422, True, True)
    done = post(client, page, **fields)
    assert done.status_code == 303, done.content.decode()
    shown = client.get(done["Location"]).content.decode()
    for words in ("R-100", "€222.50", "€8.50"):
        assert words in shown
    shown = client.get(reverse("buying:order", args=[order.pk])).content.decode()
    assert "0.85 dearer each" in shown
    assert "R-100" in client.get(reverse("buying:bills")).content.decode()
    assert "Nothing waits for an invoice" in client.get(page).content.decode()


def test_a_double_click_records_once(client, office, line):
    client.force_login(office)
    page = reverse("buying:add-bill", args=[line.receipt.supplier_id])
    sent = {
        "once": str(uuid.uuid4()), "number": "R-1", "dated_on": str(clock.today()), "total": "214",
        f"quantity_{line.pk}": "10", f"price_{line.pk}": "21.40",
    }  # fmt: skip
    assert {client.post(page, sent).status_code for _ in range(2)} == {303}
    assert SupplierInvoice.objects.count() == 1


def test_the_stores_record_none(client, stores, line):
    client.force_login(stores)
    assert client.get(reverse("buying:choose-bill")).status_code == 403
    assert client.get(reverse("buying:bills")).status_code == 200


def test_a_currency_with_three_decimals_is_typed_as_it_is(client, office, stores):
    """Kuwaiti dinars, at a rate of 3.1 euros each (invented)."""
    part = made_parts.part(stores)
    firm = made.supplier(stores, "Gulf Seals", currency="KWD")
    made.offer(stores, part, ("1", "1.2345"), of=firm)
    receipt = made.received(stores, made.sent(stores, part, "10"), rate=D("3.1"), freight=D("0.125"))
    line = receipt.lines.get()
    client.force_login(office)
    page = reverse("buying:add-bill", args=[firm.pk])
    sent = {"number": "K-1", "dated_on": str(clock.today()), f"quantity_{line.pk}": "10", f"price_{line.pk}": "1.2345"}
    fine = post(client, page, **sent, freight="0.1255", total="12.4705")
    assert fine.status_code == 422
    assert "in steps of 0.001 KWD" in fine.content.decode()
    done = post(client, page, **sent, freight="0.125", total="12.470")
    assert done.status_code == 303, done.content.decode()
    row = SupplierInvoice.objects.get()
    assert (row.total_net, row.freight) == (D("12.47"), D("0.125"))
