"""Two people take one incoming invoice: it is recorded once, the others are told that it was. With a control."""

from __future__ import annotations

import pytest

from inventory.buying import actions
from inventory.buying.actions import incoming
from inventory.buying.models import IncomingInvoice, SupplierInvoice
from shop.documents.models import Attachment
from tests.factories import buying as made
from tests.factories import einvoices as files
from tests.factories import parts as made_parts
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = 6


@pytest.fixture
def came(stores):
    part = made_parts.part(stores)
    made.offer(stores, part, number="GH-0041")
    made.received(stores, made.sent(stores, part, "10"))


@pytest.fixture
def row(office, came):
    return files.kept(office, files.xml(files.line("214.00", BT_155="GH-0041")))


def taking(by, row):
    return lambda: actions.take_einvoice(row.pk, by=by)


def codes(results):
    return {r.code for r in results if isinstance(r, Exception)}


def test_it_is_taken_by_one_of_many(office, row):
    results = race([taking(office, row)] * PEOPLE)
    assert outcomes(results) == {"done": 1, "refused": PEOPLE - 1}
    assert codes(results) == {"taken"}
    assert (SupplierInvoice.objects.count(), Attachment.objects.filter(subject="supplierinvoice").count()) == (1, 1)


def test_taken_or_set_aside_and_never_both(office, row):
    results = race([taking(office, row), lambda: actions.set_aside_einvoice(row.pk, by=office)] * 3)
    assert outcomes(results)["done"] == 1
    found = IncomingInvoice.objects.get()
    assert (found.bill_id is None) != (found.set_aside_at is None)


def test_one_file_sent_by_many_waits_once(office, came):
    content = files.xml(files.line("214.00", BT_155="GH-0041"))
    read = actions.read_einvoice("R-100.xml", content)
    results = race([lambda: actions.keep_einvoice(read, by=office)] * PEOPLE)
    assert set(outcomes(results)) <= {"done", "refused"}
    assert outcomes(results)["done"] >= 1
    assert (IncomingInvoice.objects.count(), Attachment.objects.filter(subject="incominginvoice").count()) == (1, 1)


@pytest.mark.postgres
def test_without_the_lock_it_is_taken_and_set_aside(office, row, monkeypatch):
    """The control: the same race with the row read and not locked."""
    monkeypatch.setattr(incoming, "_locked", lambda pk: IncomingInvoice.objects.filter(pk=pk).first())
    works = [taking(office, row), *[lambda: actions.set_aside_einvoice(row.pk, by=office)] * 3]
    assert outcomes(race(works))["done"] > 1
