"""A document that nobody could answer is not made; the longest that is made can be answered on every form."""

import re
from decimal import Decimal as D

import pytest
from django.test import Client
from django.utils import timezone

from inventory.parts.models import Part
from jobs.draws.models import Need
from jobs.estimates import actions, entries, queries
from jobs.estimates.figures import TOTALS, reckon
from jobs.estimates.models import Estimate, EstimateLine
from jobs.invoices import actions as invoices
from shop.kernel.errors import Refused
from tests.factories import charges as charged
from tests.factories import estimates as make
from tests.factories import invoices as bills
from tests.factories import replies

pytestmark = pytest.mark.django_db


def needing(owner, count: int):
    """A card with one stage that needs so many parts of different numbers: with the stage and sundries two lines more."""
    card = make.card(owner)
    stage = make.stage(owner, card)
    part = make.part(owner, "FST-0000", "Bolt", "1")
    make.need(owner, stage, part, "1")
    need = Need.objects.get()
    more = []
    for n in range(1, count):
        part.pk, part.number = None, f"FST-{n:04}"
        more.append(Part(**{f.attname: getattr(part, f.attname) for f in Part._meta.concrete_fields if f.name != "id"}))
    Part.objects.bulk_create(more)
    names = [f.attname for f in Need._meta.concrete_fields if f.name not in ("id", "part")]
    Need.objects.bulk_create(
        Need(part=x, **{name: getattr(need, name) for name in names})
        for x in Part.objects.filter(number__startswith="FST-").exclude(pk=need.part_id)
    )
    return card


def test_a_card_of_too_many_lines_is_not_drafted(api, owner):
    card = needing(owner, entries.MOST_LINES - 1)
    refused = api(owner).post("estimates/", {"card_id": card.pk})
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/too-many-lines")
    assert refused.json()["detail"] == (
        f"A document has at most 2000 lines. Those of card {card.number} would be 2001. Put several into one: join its stages or "
        "the parts they need, or open another card for some of the work."
    )
    assert not Estimate.objects.exists()
    Need.objects.first().delete()
    made = api(owner).post("estimates/", {"card_id": card.pk})
    assert made.status_code == 201
    assert EstimateLine.objects.count() == entries.MOST_LINES
    more = api(owner).post("estimate-lines/", {"estimate_id": made.json()["id"], "text": "x", "unit_price": "1"})
    assert more.json()["type"] == "/api/problems/too-many-lines"
    assert more.json()["detail"] == "A document has at most 2000 lines. Put several into one."


def test_a_part_with_charges_counts_with_them(owner, monkeypatch):
    monkeypatch.setattr(entries, "MOST_LINES", 6)
    part = charged.nozzle(owner)
    draft = make.draft(owner)  # four lines
    with pytest.raises(Refused, match="at most 6 lines"):
        actions.add_line(draft.pk, None, by=owner, part_id=part.pk)
    assert draft.lines.count() == 4


def test_an_invoice_of_too_many_lines_is_not_drafted(api, owner, monkeypatch):
    card = bills.finished(owner)
    monkeypatch.setattr(entries, "MOST_LINES", 3)
    refused = api(owner).post("invoices/", {"card_id": card.pk})
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/too-many-lines")
    assert "write one for its customer by hand" in refused.json()["detail"]
    assert not card.invoices.exists()
    monkeypatch.setattr(entries, "MOST_LINES", 4)
    draft = invoices.draft_invoice(by=owner, card_id=card.pk)
    with pytest.raises(Refused, match="at most 4 lines"):
        invoices.add_line(draft.pk, None, by=owner, text="x", unit_price=D(1), reason="One more")


@pytest.fixture
def longest(owner):
    """An issued estimate of as many lines as there can be."""
    draft = make.draft(owner, make.card_with_work(owner, 1))
    first = draft.lines.first()
    names = [f.attname for f in EstimateLine._meta.concrete_fields if f.name not in ("id", "position")]
    values = {name: getattr(first, name) for name in names}
    start = draft.lines.count() + 1
    EstimateLine.objects.bulk_create(EstimateLine(position=n, **values) for n in range(start, entries.MOST_LINES + 1))
    reckon(draft, list(draft.lines.all()))
    draft.save(update_fields=TOTALS)
    return actions.issue_estimate(draft.pk, None, by=owner)


def test_the_longest_is_answered_on_the_staffs_form(owner, longest):
    browser = Client()
    browser.force_login(owner)
    url = f"/estimates/{longest.pk}/go-ahead/"
    page = browser.get(url).content.decode()
    when = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    once = re.search(r'name="once" value="([^"]+)"', page).group(1)
    fields = {x: "yes" for x in re.findall(r'name="(line_\d+)"', page)}
    assert len(fields) == entries.MOST_LINES
    fields |= {"once": once, "how": "phone", "said_by": "Niamh", "said_at": when, "note": ""}
    assert browser.post(url, fields).status_code == 303
    assert {queries.word(x) for x in queries.answers(longest).values()} == {"accepted"}


def test_the_longest_is_answered_by_link(owner, longest):
    link = replies.link(owner, longest)
    answer = replies.Phone(link).send({x.pk: "yes" for x in longest.lines.all()})
    assert answer.status_code in (200, 302, 303), answer.content[:500]
    assert {queries.word(x) for x in queries.answers(longest).values()} == {"accepted"}
