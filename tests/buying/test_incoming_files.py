"""Wrong and hostile files are refused in words before anything is kept."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.buying import actions, einvoice_xml, incoming
from inventory.buying.models import IncomingInvoice
from shop.documents import uploads
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.factories import buying as made
from tests.factories import einvoices as files
from tests.factories import parts as made_parts

from .test_incoming import send

pytestmark = pytest.mark.django_db
line = files.line

BOMB = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><x>&b;</x>'
FETCH = b'<?xml version="1.0"?><!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd"><x/>'


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty-file"),
        (b"not xml", "no-einvoice"),
        (b"<x>", "damaged"),
        (b"<html/>", "no-einvoice"),
        (BOMB, "unsafe-xml"),
        (FETCH, "unsafe-xml"),
        (BOMB.decode().encode("utf-16"), "no-einvoice"),
        (b'<?xml version="1.0" encoding="utf-7"?><x/>', "no-einvoice"),
        (b"<x>" * 100 + b"</x>" * 100, "unsafe-xml"),
        (b"<x>" + b"<y/>" * 100_001 + b"</x>", "unsafe-xml"),
        (b"<x>" + b" " * (5 * 1024 * 1024) + b"</x>", "too-large-file"),
        (b"%PDF-1.7\n1 0 obj\n%%EOF", "damaged"),
        (b"%PDF-1.7 cut off", "damaged"),
    ],
)  # fmt: skip
def test_a_wrong_or_hostile_file_is_refused_in_words(api, office, content, code):
    answer = send(api(office), content)
    assert answer.status_code == 400, answer.content
    (error,) = answer.json()["errors"]
    assert (error["pointer"], len(error["detail"]) > 20) == ("/file", True)
    with pytest.raises(BadInput) as refusal:
        actions.read_einvoice("x.xml", content)
    assert refusal.value.code == code
    assert not IncomingInvoice.objects.exists()


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b">214.00<", b">NaN<", "which is no number"),
        (b">214.00<", b">1e9<", "which is no number"),
        (b">214.00<", b">" + b"9" * 400 + b"<", "which is no number"),
        (b">R-100<", b"><", "BT-1 (number) is missing"),
    ],
)
def test_a_field_that_cannot_be_is_named(office, syntax, old, new, said):
    content = files.xml(line("214.00"), syntax=syntax).replace(old, new)
    with pytest.raises(BadInput) as refusal:
        actions.read_einvoice("x.xml", content)
    assert said in refusal.value.message


def day(content, bt, said):
    """The file with another day at BT-2 or BT-9, in either syntax."""
    tags = {"BT-2": rb"ram:IssueDateTime>|cbc:IssueDate>", "BT-9": rb"ram:DueDateDateTime>|cbc:DueDate>"}
    start = re.search(tags[bt], content).end()
    old = re.search(rb"\d{4}-?\d{2}-?\d{2}", content[start:])
    new = said.replace("-", "") if b"-" not in old[0] else said
    return content[: start + old.start()] + new.encode() + content[start + old.end() :]


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_a_long_description_is_cut(api, office, syntax):
    """Also one of letters that are more characters when they are composed."""
    for n, word in enumerate(("Gasket ", "\U0001d160")):
        content = files.xml(line("214.00", BT_154=word * 150), syntax=syntax, number=f"R-{n}")
        answer = send(api(office), content)
        assert answer.status_code == 201, answer.content
        (read,) = actions.read_einvoice("x.xml", content).stated.lines
        assert 190 < len(read.detail) <= 200


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_a_day_out_of_the_calendar_is_refused(api, office, syntax):
    content = day(day(files.xml(line("214.00"), syntax=syntax), "BT-2", "9999-12-31"), "BT-9", "9999-12-31")
    answer = send(api(office), content)
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["pointer"], "R-100 is of 9999-12-31 (BT-2)" in error["detail"]) == ("/file", True)


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_one_that_is_kept_already_is_shown_with_what_is_wrong(api, client, office, stores, syntax):
    """As it was kept before such days were refused."""
    made.supplier(stores)
    content = day(day(files.xml(line("214.00"), syntax=syntax), "BT-2", "9999-12-31"), "BT-9", "9999-12-31")
    read = actions.incoming.Read(uploads.as_xml("x.xml", content), einvoice_xml.read(content))
    row = actions.keep_einvoice(read, by=office)
    client.force_login(office)
    shown = client.get(reverse("buying:incoming-look", args=[row.pk]))
    assert (shown.status_code, "R-100 is of 9999-12-31 (BT-2)" in shown.content.decode()) == (200, True)
    looked = api(office).get(f"incoming-invoices/{row.pk}/")
    assert [f["code"] for f in looked.json()["findings"] if f["stops"]] == ["dated-on"]
    taken = api(office).post(f"incoming-invoices/{row.pk}/take/", {})
    assert (taken.status_code, "Ask the supplier" in taken.json()["detail"]) == (409, True)


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_due_when_nobody_can_mean_is_left_out(office, stores, syntax):
    came = made.received(stores, made.sent(stores, made_parts.part(stores), "10")).lines.get()
    content = day(files.xml(line("214.00", BT_156=came.part.number), syntax=syntax), "BT-9", "9999-12-31")
    row = files.kept(office, content)
    (told,) = incoming.look(row.pk).findings
    assert (told.stops, "due on 9999-12-31" in told.text) == (False, True)
    assert actions.take_einvoice(row.pk, by=office).due_on is None


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_a_day_that_no_invoice_of_today_has_is_told_in_the_look(office, stores, syntax):
    came = made.received(stores, made.sent(stores, made_parts.part(stores), "10")).lines.get()
    past = clock.today() - timedelta(days=4 * 366)
    row = files.kept(office, files.xml(line("214.00", BT_156=came.part.number), syntax=syntax, dated_on=past))
    (told,) = incoming.look(row.pk).stops
    assert f"R-100 is of {past} (BT-2): that is more than three years ago" in told.text
