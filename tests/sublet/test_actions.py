"""What an outside firm charges is recorded once, for a stage that was sent out, and never changed."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, transaction
from hypothesis import given
from hypothesis import strategies as st

from inventory.buying import actions as buying
from jobs.cards import actions as cards
from jobs.cards import queries as whole
from jobs.cards import wording
from jobs.invoices import actions as invoices
from jobs.sublet import actions, queries
from jobs.sublet.models import SubletBill
from jobs.sublet.shares import shared
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.buying.test_supplier_credits import came
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import sublet as out

pytestmark = pytest.mark.django_db


def told(card_id, reader):
    return [wording.sentence(x.verb, x.detail) for x in whole.history(card_id, reader).order_by("-id")[:3]]


def test_recorded_and_told_without_amounts(owner, office):
    stage = out.stage(owner)
    row = out.bill(office, stage, note=" Oversize 0.50 ")
    assert (row.net, row.tax, row.note, row.by, row.reverses) == (
        D("240.00"),
        D("55.20"),
        "Oversize 0.50",
        office,
        None,
    )
    assert queries.charged(stage.card_id) == {stage.pk: D(240)}
    first = told(stage.card_id, owner)[0]
    assert first == "Recorded invoice 26-118 of Samphire Bore & Balance for stage 1 “Rebore both cylinders”"


def test_only_a_stage_that_is_sent_out(owner):
    card = quote.card(owner)
    with pytest.raises(Refused, match=r"of the kind assemble.*of the kind sublet"):
        out.bill(owner, quote.stage(owner, card))
    gone = out.stage(owner, card)
    cards.remove_stage(gone.pk, None, by=owner)
    with pytest.raises(Refused, match="taken off card"):
        out.bill(owner, gone)
    stage = out.stage(owner, card)
    with pytest.raises(NotFound):
        actions.record_bill(
            by=owner, stage_id=10**9, supplier_id=1, number="1", dated_on=clock.today(), net=D(1), tax=D(0)
        )
    with pytest.raises(BadInput) as refusal:
        out.bill(owner, stage, supplier_id=10**9)
    assert "supplier_id" in refusal.value.fields
    buying.archive_supplier(out.firm(owner).pk, None, by=owner)
    with pytest.raises(Refused, match="put away"):
        out.bill(owner, stage)
    assert not SubletBill.objects.exists()


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("net", "0"), ("net", "-1"), ("net", "1.005"), ("net", "1e12"), ("net", "NaN"), ("tax", "-0.01"), ("tax", "0.001"),
        ("tax", "9" * 14), ("number", " "), ("number", "1" * 61), ("note", "x" * 201),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_field(owner, field, wrong):
    with pytest.raises(BadInput) as refusal:
        out.bill(owner, out.stage(owner), **{field: wrong})
    assert field in refusal.value.fields
    assert not SubletBill.objects.exists()


@pytest.mark.parametrize(("days", "right"), [(1, False), (0, True), (-1096, True), (-1099, False)])
def test_the_day_on_it(owner, days, right):
    stage, day = out.stage(owner), clock.today() + timedelta(days=days)
    if right:
        assert out.bill(owner, stage, dated_on=day).dated_on == day
        return
    with pytest.raises(BadInput) as refusal:
        out.bill(owner, stage, dated_on=day)
    assert "dated_on" in refusal.value.fields


def test_a_currency_without_decimals(owner, monkeypatch):
    monkeypatch.setitem(quote.PROFILE, "currency", "JPY")
    stage = out.stage(owner)
    with pytest.raises(BadInput, match="steps of 1 JPY"):
        out.bill(owner, stage, "240.5", "0")
    assert out.bill(owner, stage, "24000", "2400").net == 24000


def test_after_invoice_and_handing_over(owner):
    stage = out.done(owner)
    make.issued(owner, stage.card)
    cards.hand_over(stage.card_id, by=owner)
    assert out.bill(owner, stage).pk


def test_the_same_number_stands_once_whoever_recorded_it(owner, office):
    stage = out.stage(owner)
    first = out.bill(office, stage, number="AB-7")
    other = out.stage(owner)
    with pytest.raises(BadInput, match=rf"{clock.today()} by Pim Castell for card {stage.card.number}") as refusal:
        out.bill(owner, other, number=" ab-7 ")
    assert "number" in refusal.value.fields
    assert out.bill(owner, other, number="AB-7", supplier_id=out.firm(owner, "Heron Crack Test").pk).pk
    actions.take_back(first.pk, by=owner, reason="Other stage")
    assert out.bill(owner, other, number="AB-7").pk
    with pytest.raises(BadInput, match="AB-7-b"):
        out.bill(owner, stage, number="AB-7")
    assert out.bill(owner, stage, number="AB-7-b").pk


def test_an_invoice_for_parts_and_one_for_a_stage_are_not_the_same_one(owner):
    line = came(owner)
    seller = line.receipt.supplier_id
    charge = {
        "by": owner, "supplier_id": seller, "dated_on": clock.today(), "total": D(160), "lines": [buying.Billed(line.pk)]
    }  # fmt: skip
    stage = out.stage(owner)
    bill = out.bill(owner, stage, number="R-77", supplier_id=seller)
    with pytest.raises(BadInput, match=f"for card {stage.card.number}"):
        buying.record_supplier_invoice(number="r-77", **charge)
    actions.take_back(bill.pk, by=owner, reason="It is for parts")
    buying.record_supplier_invoice(number="r-77", **charge)
    with pytest.raises(BadInput, match="was recorded on"):
        out.bill(owner, stage, number="R-77", supplier_id=seller)


def test_taken_back_once_with_a_reason(owner, office):
    stage = out.stage(owner)
    row = out.bill(owner, stage)
    with pytest.raises(BadInput) as refusal:
        actions.take_back(row.pk, by=office, reason="  ")
    assert "reason" in refusal.value.fields
    counter = actions.take_back(row.pk, by=office, reason="Wrong card")
    assert (counter.net, counter.tax, counter.reverses, counter.reason) == (-240, D("-55.20"), row, "Wrong card")
    assert queries.charged(stage.card_id) == {}
    assert told(stage.card_id, owner)[0].startswith("Took back invoice 26-118 of Samphire")
    for pk, why in ((row.pk, "Pim Castell took this bill back"), (counter.pk, "takes another back")):
        with pytest.raises(Refused, match=why):
            actions.take_back(pk, by=owner, reason="Again")
    with pytest.raises(NotFound):
        actions.take_back(10**9, by=owner, reason="None")
    assert SubletBill.objects.count() == 2


def test_a_bill_of_a_card_that_was_cancelled_since_can_be_taken_back(owner):
    stage = out.stage(owner)
    row = out.bill(owner, stage)
    cards.cancel_card(stage.card_id, by=owner, reason="Sold as it is")
    assert actions.take_back(row.pk, by=owner, reason="They credited it").net == -240


def test_the_database_refuses_changes(owner):
    row = out.bill(owner, out.stage(owner))
    rows = SubletBill.objects.all()
    same = {
        "stage": row.stage,
        "supplier": row.supplier,
        "number": "X",
        "dated_on": row.dated_on,
        "at": row.at,
        "by": owner,
    }
    for change in (
        lambda: rows.update(net=2),
        lambda: rows._raw_delete(rows.db),
        lambda: SubletBill.objects.create(**same, net=-1, tax=0),
        lambda: SubletBill.objects.create(**same, net=-1, tax=0, reverses=row),  # without a reason
        lambda: SubletBill.objects.create(**same, net=1, tax=0, reverses=row, reason="Up"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def costs(draft):
    return {x.stage_id: x.cost for x in draft.lines.all() if x.kind == "sublet"}


def test_the_invoice_counts_what_was_charged_as_its_cost(owner):
    stage = out.done(owner, stages=2)
    other = stage.card.stages.exclude(pk=stage.pk).get()
    draft = make.draft(owner, stage.card)
    assert costs(draft) == {stage.pk: 228, other.pk: 456}  # as expected, while nothing came
    invoices.discard_invoice(draft.pk, None, by=owner)
    wrong = out.bill(owner, stage, "300")
    out.bill(owner, stage, "30", number="26-119")
    out.bill(owner, stage, "15", number="26-120")
    actions.take_back(wrong.pk, by=owner, reason="Too much")
    draft = make.draft(owner, stage.card)
    assert costs(draft) == {stage.pk: 45, other.pk: 456}
    assert {x.net for x in draft.lines.filter(kind="sublet")} == {285, 570}


@given(
    st.decimals(0, 10**6, places=2),
    st.dictionaries(st.integers(1, 99), st.decimals(-10, 10**6, places=2), min_size=1, max_size=6),
)
def test_shares_add_up(charged, nets):
    found = shared(charged, "EUR", nets)
    assert set(found) == set(nets)
    assert sum(found.values()) == charged
    assert all(x >= 0 and x == x.quantize(D("0.01")) for x in found.values())


def test_shares_go_by_what_each_line_asks_for():
    assert shared(D("100.01"), "EUR", {1: D(30), 2: D(10)}) == {1: D("75.01"), 2: D(25)}
    assert shared(D(9), "EUR", {1: D(0), 2: D(0)}) == {1: D("4.5"), 2: D("4.5")}
    assert shared(D(9), "EUR", {}) == {}
