"""Estimate against actual, by stage, in hours and money."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from jobs.cards.models import Stage
from jobs.invoices import actions, outcome
from jobs.invoices.models import Invoice, InvoiceLine
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def card(owner):
    """4 h on the first stage (3.5 agreed), 1.25 h on the second, two ring sets."""
    return make.finished(owner)


def agreed_net(card):
    found = {}
    for x in outcome.estimates.agreed_on_card(card.pk):
        if x.at_price:
            found[x.at_price.stage_id] = found.get(x.at_price.stage_id, D(0)) + x.at_price.net
    return found


def test_before_anything_is_billed(api, owner, card):
    shown = api(owner).get(f"card-outcomes/{card.pk}/").json()
    first, second = shown["rows"][:2]
    assert (first["quoted_hours"], first["done_hours"], first["hours_more"]) == ("3.5", "4", "0.5")
    assert second["done_hours"] == "1.25"
    assert (first["billed"], D(first["quoted"]), D(first["difference"])) == (
        "0.00", agreed_net(card)[first["stage_id"]], -D(first["quoted"]),
    )  # fmt: skip
    assert shown["sum"]["done_hours"] == "5.25"


def test_billed_by_stage_adds_up_to_the_documents(api, owner, card):
    invoice = make.issued(owner, card)
    found = outcome.of_card(card.pk)
    by_stage = {x.stage.pk: x.billed for x in found.rows if x.stage}
    for stage in Stage.objects.filter(card=card):
        own = InvoiceLine.objects.filter(invoice=invoice, stage=stage).aggregate(s=Sum("net"))["s"] or D(0)
        assert by_stage[stage.pk] == own
    assert found.sum.billed == invoice.total_net > 0
    assert found.sum.difference == sum((x.difference for x in found.rows), D(0)) == invoice.total_net - found.sum.quoted


def test_a_discount_on_the_whole_and_a_credit_note_count(owner, card):
    draft = make.draft(owner, card)
    actions.edit_invoice(draft.pk, None, by=owner, discount_percent=D(3), discount_reason="Regular customer")
    invoice = actions.issue_invoice(draft.pk, None, by=owner)
    found = outcome.of_card(card.pk)
    assert found.rows[-1].billed == invoice.total_net - invoice.sum_net < 0
    assert found.sum.billed == invoice.total_net
    actions.credit_note(invoice.pk, by=owner, reason="All of it was wrong")
    after = outcome.of_card(card.pk)
    credited = Invoice.objects.get(kind="credit")
    assert after.sum.billed == invoice.total_net - credited.total_net == 0
    assert all(x.billed == 0 for x in after.rows)


def test_money_is_for_owner_and_office_alone(api, client, owner, office, mechanic, stores, card):
    assert api(office).get(f"card-outcomes/{card.pk}/").status_code == 200
    for person in (mechanic, stores):
        assert api(person).get(f"card-outcomes/{card.pk}/").status_code == 403
    assert api(owner).get("card-outcomes/999999/").status_code == 404
    make.issued(owner, card)
    for person, sees in ((owner, True), (office, True), (mechanic, False)):
        client.force_login(person)
        page = client.get(f"/cards/{card.pk}/").content.decode()
        assert ("Estimate against actual" in page) is sees


def test_more_stages_ask_no_more_often(owner, card):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert outcome.of_card(card.pk).rows
        return len(queries)

    few = asked()
    for stage in list(Stage.objects.filter(card=card)):
        for n in range(3):
            Stage.objects.create(
                card=card, position=10 + stage.pk * 5 + n, name=f"More {n}", kind=stage.kind, standard_hours=D(1)
            )
    assert asked() == few
