"""Wrong and hostile files are refused in words before anything is kept."""

from __future__ import annotations

import pytest

from inventory.buying import actions
from inventory.buying.models import IncomingInvoice
from shop.kernel.errors import BadInput
from tests.factories import einvoices as files

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
