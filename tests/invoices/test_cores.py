"""An old part comes back: before the invoice, after it, refused, or never."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from jobs.books import earned, queries
from jobs.invoices import actions, checking, cores
from jobs.invoices.models import CoreReturn, Invoice
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.factories import charges as made
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db
HERE = {"condition": "Whole, tip worn"}


def billed(owner, quantity="2"):
    card, fit, part = made.done(owner, quantity)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    return card, fit, part, actions.issue_invoice(draft.pk, None, by=owner)


def core(invoice):
    return invoice.lines.get(kind="core")


def balances():
    today = clock.today()
    found = {}
    for x in queries.totals(today - timedelta(days=40), today + timedelta(days=1))[0]:
        found[x.purpose] = found.get(x.purpose, D(0)) + x.balance
    assert sum(found.values()) == 0
    return found


def left(invoice):
    return cores.left_of(cores.charged_line(core(invoice).pk))


def test_accepted_credits_just_that_deposit_and_quantity(owner):
    card, fit, part, invoice = billed(owner)
    assert [(x.pk, cores.left_of(x)) for x in cores.charged(card_id=card.pk)] == [(core(invoice).pk, 2)]
    row = actions.take_core(core(invoice).pk, by=owner, quantity=D(1), **HERE)
    note = row.credit_note
    assert [(x.kind, x.quantity, x.net) for x in note.lines.all()] == [("core", 1, D("12.50"))]
    assert (note.credits_id, note.total_gross, note.reason) == (
        invoice.pk, D("15.38"), "Old part handed in: Whole, tip worn",
    )  # fmt: skip
    assert left(invoice) == 1
    with pytest.raises(BadInput, match="1 are still out"):
        actions.take_core(core(invoice).pk, by=owner, quantity=D(2), **HERE)
    actions.take_core(core(invoice).pk, by=owner, quantity=D(1), **HERE)
    assert list(cores.charged(card_id=card.pk)) == []
    with pytest.raises(BadInput, match="0 are still out"):
        actions.take_core(core(invoice).pk, by=owner, quantity=D(1), **HERE)
    with pytest.raises(Refused, match="isn't billed already"):  # a deposit that went back isn't charged anew
        actions.draft_invoice(by=owner, card_id=card.pk)
    make.use(owner, fit, part, "1")
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert core(again).quantity == 1
    assert list(checking.wrong()) == []


def test_at_an_agreed_price_a_deposit_that_went_back_is_not_charged_anew(owner):
    from jobs.estimates import actions as estimates

    card, fit, _part = made.job(owner)
    found = quote.draft(owner, card)
    estimates.edit_line(found.lines.get(kind="part").pk, None, by=owner, pricing="fixed")
    estimates.issue_estimate(found.pk, None, by=owner)
    quote.say(owner, found, {x.pk: True for x in found.lines.all()})
    make.work(owner, fit, "1")
    invoice = actions.issue_invoice(actions.draft_invoice(by=owner, card_id=card.pk).pk, None, by=owner)
    actions.take_core(core(invoice).pk, by=owner, quantity=D(2), **HERE)
    make.work(owner, fit, "1")
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert not again.lines.filter(kind__in=["core", "part"]).exists()


def test_refused_stays_charged_and_says_why(owner):
    *_, invoice = billed(owner)
    with pytest.raises(BadInput) as refusal:
        actions.take_core(core(invoice).pk, by=owner, quantity=D(1), condition="Cracked", accepted=False)
    assert "reason" in refusal.value.fields
    with pytest.raises(BadInput) as refusal:
        actions.take_core(core(invoice).pk, by=owner, quantity=D(1), condition=" ")
    assert "condition" in refusal.value.fields
    row = actions.take_core(
        core(invoice).pk, by=owner, quantity=D(1), condition="Cracked", accepted=False, reason="Can't be rebuilt"
    )
    assert (row.credit_note, left(invoice)) == (None, 2)
    assert not Invoice.objects.filter(kind="credit").exists()
    for wrong in (D(0), D(-1), D("0.5"), D("NaN")):
        with pytest.raises(BadInput):
            actions.take_core(core(invoice).pk, by=owner, quantity=wrong, **HERE)
    with pytest.raises(NotFound):
        actions.take_core(invoice.lines.get(kind="part").pk, by=owner, quantity=D(1), **HERE)


def test_handed_in_before_the_invoice_leaves_the_deposit_off_and_says_so(owner, mechanic):
    card, _fit, part = made.done(owner)
    actions.hand_in_core(card.pk, by=mechanic, part_id=part.pk, quantity=D(1), **HERE)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert core(draft).quantity == 1
    from jobs.estimates import explaining

    said = "Old parts handed in before: 1. No core deposit is charged for those."
    assert said in explaining.line(core(draft), "EUR")
    assert said in explaining.line(draft.lines.get(kind="part"), "EUR")
    # the second one comes while the draft is open: it isn't issued with its deposit
    second = actions.hand_in_core(card.pk, by=mechanic, part_id=part.pk, quantity=D(1), **HERE)
    with pytest.raises(Refused, match="handed in since") as refusal:
        actions.issue_invoice(draft.pk, None, by=owner)
    assert refusal.value.code == "core-handed-in"
    actions.discard_invoice(draft.pk, None, by=owner)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert not draft.lines.filter(kind="core").exists()
    with pytest.raises(Refused) as refusal:
        actions.undo_core(second.pk, by=owner, reason="Wrong card")
    assert refusal.value.code == "counted"
    invoice = actions.issue_invoice(draft.pk, None, by=owner)
    assert said.replace("1", "2") in explaining.line(invoice.lines.get(kind="part"), "EUR")
    with pytest.raises(Refused, match="isn't billed already"):
        actions.draft_invoice(by=owner, card_id=card.pk)
    # the part is credited and billed again: the old parts still count
    actions.credit_note(invoice.pk, by=owner, reason="Wrong rate")
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert not again.lines.filter(kind="core").exists()
    assert list(checking.wrong()) == []


def test_not_more_than_the_card_asks_for(owner, mechanic):
    card, _fit, part = made.done(owner)
    other = quote.part(owner, "GKT-041", "Head gasket, B2", "38.50")
    for given, field in (
        ({"part_id": part.pk, "quantity": D(3)}, "quantity"),
        ({"part_id": other.pk, "quantity": D(1)}, "part_id"),
        ({"part_id": part.pk, "quantity": D("0.5")}, "quantity"),
    ):
        with pytest.raises(BadInput) as refusal:
            actions.hand_in_core(card.pk, by=mechanic, **given, **HERE)
        assert field in refusal.value.fields
    first = actions.hand_in_core(card.pk, by=mechanic, part_id=part.pk, quantity=D(2), **HERE)
    with pytest.raises(BadInput, match="2 were handed in before"):
        actions.hand_in_core(card.pk, by=mechanic, part_id=part.pk, quantity=D(1), **HERE)
    actions.undo_core(first.pk, by=owner, reason="Counted wrong")
    with pytest.raises(Refused, match="undone already"):
        actions.undo_core(first.pk, by=owner, reason="Again")
    assert cores.free(card.pk) == {}
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    actions.issue_invoice(draft.pk, None, by=owner)
    with pytest.raises(Refused) as refusal:
        actions.hand_in_core(card.pk, by=mechanic, part_id=part.pk, quantity=D(1), **HERE)
    assert refusal.value.facts["line_id"] == core(draft).pk


def test_in_the_books_a_deposit_is_owed_until_it_goes_back_or_is_kept(owner):
    with clock.at(clock.now()):
        card, *_, invoice = billed(owner, "3")
        before = balances()
        assert before["core-deposits"] == D("-37.50")
        assert before["sales"] == -(invoice.total_net - D("37.50"))
        today = clock.today()
        assert earned.report(today, today, "EUR").lines[0].net == invoice.total_net - D("37.50")
        actions.take_core(core(invoice).pk, by=owner, quantity=D(1), **HERE)
        assert balances()["core-deposits"] == D("-25.00")
        kept = actions.keep_deposit(core(invoice).pk, by=owner, quantity=D(1), on=today, reason="Lost at sea")
        assert (kept.amount, left(invoice)) == (D("12.50"), 1)
        after = balances()
        assert (after["core-deposits"], after["sales"]) == (D("-12.50"), before["sales"] - D("12.50"))
        assert earned.report(today, today, "EUR").lines[0].net == invoice.total_net - D("25.00")
        with pytest.raises(Refused) as refusal:
            actions.credit_note(invoice.pk, by=owner, reason="All of it")
        assert refusal.value.code == "core-kept"
        with pytest.raises(BadInput, match="1 are still out"):
            actions.keep_deposit(core(invoice).pk, by=owner, quantity=D(2), on=today, reason="Lost")
        for day in (today + timedelta(days=1), invoice.issued_on - timedelta(days=1)):
            with pytest.raises(BadInput) as wrong:
                actions.keep_deposit(core(invoice).pk, by=owner, quantity=D(1), on=day, reason="Lost")
            assert "on" in wrong.value.fields
        actions.undo_core(kept.pk, by=owner, reason="Washed up again")
        assert left(invoice) == 2
        actions.credit_note(invoice.pk, by=owner, reason="All of it")
        assert balances().get("core-deposits", D(0)) == 0
    assert card.pk == CoreReturn.objects.first().line.invoice.card_id


def test_after_an_early_discount_a_deposit_goes_back_as_it_was_paid(owner):
    """2 % were off for paying early, of the deposit, too: so much less goes back, and all notes come to the invoice."""
    from shop.business import actions as business

    quote.shop(owner)
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=10)
    *_, invoice = billed(owner)
    due = invoice.total_gross + invoice.rounding
    from jobs.invoices.terms import early_discount

    share = due - early_discount(due, D(2), "EUR")
    actions.record_payment(
        by=owner, customer_id=invoice.customer_id, amount=share, method="transfer", received_on=clock.today(),
        allocations={invoice.pk: share}, early=[invoice.pk],
    )  # fmt: skip
    row = actions.take_core(core(invoice).pk, by=owner, quantity=D(1), **HERE)
    assert row.credit_note.total_net == D("12.25")
    actions.credit_note(invoice.pk, by=owner, reason="All of it")
    notes = Invoice.objects.filter(credits=invoice)
    assert sum(x.total_gross + x.rounding for x in notes) == due
    assert list(checking.wrong()) == []
    balances()


def test_the_database_refuses_changes(owner):
    card, _fit, part = made.done(owner)
    actions.hand_in_core(card.pk, by=owner, part_id=part.pk, quantity=D(1), **HERE)
    for change in (lambda rows: rows.update(quantity=2), lambda rows: rows._raw_delete(rows.db)):
        with pytest.raises(DatabaseError), transaction.atomic():
            change(CoreReturn.objects.all())


def test_by_api(owner, office, mechanic, api):
    card, _fit, part = made.done(owner)
    body = {"card_id": card.pk, "part_id": part.pk, "quantity": "1", "condition": "Whole"}
    assert api(office).post("core-hand-ins/", body).status_code == 403
    made_ = api(mechanic).post("core-hand-ins/", body)
    assert (made_.status_code, made_.json()["outcome"], made_.json()["line_id"]) == (201, "accepted", None)
    invoice = actions.issue_invoice(actions.draft_invoice(by=owner, card_id=card.pk).pk, None, by=owner)
    out = api(office).get("cores-out/", customer_id=invoice.customer_id).json()["items"]
    assert [(x["id"], x["left"], x["issued_on"]) for x in out] == [
        (core(invoice).pk, "1", invoice.issued_on.isoformat())
    ]
    assert api(mechanic).get("cores-out/").status_code == 403
    body = {"line_id": core(invoice).pk, "quantity": "1", "condition": "Whole"}
    assert api(office).post("core-returns/", body).status_code == 403
    key = str(uuid.uuid4())
    mine = api(owner)
    first, second = (mine.post("core-returns/", body, key=key) for _ in range(2))
    assert (first.status_code, second.json()["id"]) == (201, first.json()["id"])
    assert Invoice.objects.filter(kind="credit").count() == 1
    assert api(owner).get("cores-out/").json()["items"] == []
    assert [x["id"] for x in api(office).get("core-returns/", card_id=card.pk).json()["items"]] == [
        first.json()["id"], made_.json()["id"],
    ]  # fmt: skip
    assert api(owner).post(f"core-returns/{first.json()['id']}/undo/", {"reason": "No"}).status_code == 409


def test_on_pages(client, owner, mechanic):
    card, _fit, part = made.done(owner, "3")

    def send(url, **fields):
        return client.post(url, {"once": str(uuid.uuid4()), **fields})

    client.force_login(mechanic)
    page = client.get(reverse("cards:card", args=[card.pk])).content.decode()
    assert "An old part is here" in page
    hand_in = reverse("invoices:hand-in-core", args=[card.pk])
    good = {"part_id": part.pk, "quantity": "1", "condition": "<i>Whole</i>", "accepted": "yes"}
    assert send(hand_in, **good | {"quantity": "9"}).status_code == 422
    assert send(hand_in, **good).status_code == 303
    assert "&lt;i&gt;Whole" in client.get(reverse("cards:card", args=[card.pk])).content.decode()
    invoice = actions.issue_invoice(actions.draft_invoice(by=owner, card_id=card.pk).pk, None, by=owner)
    assert client.get(reverse("invoices:cores")).status_code == 403
    client.force_login(owner)
    shown = client.get(reverse("invoices:cores")).content.decode()
    assert invoice.number in shown
    assert reverse("invoices:take-core", args=[core(invoice).pk]) in shown
    take = reverse("invoices:take-core", args=[core(invoice).pk])
    assert send(take, quantity="1", condition="Cracked", accepted="no").status_code == 422
    assert send(take, quantity="1", condition="Whole", accepted="yes").status_code == 303
    keep = reverse("invoices:keep-core", args=[core(invoice).pk])
    kept = send(keep, quantity="1", on=clock.today().isoformat(), reason="Lost at sea")
    assert kept.status_code == 303
    assert "None is out." in client.get(reverse("invoices:cores")).content.decode()
    undo = reverse("invoices:undo-core", args=[CoreReturn.objects.get(outcome="kept").pk])
    assert send(undo, reason="Found").status_code == 303
    assert left(invoice) == 1
