"""From a finished card to the last cent, over the API."""

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, transaction

from inventory.parts.models import Part
from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.draws import actions as draws
from jobs.invoices.models import Allocation, Invoice, InvoiceLine, Payment
from jobs.timebook import actions as timebook
from shop.kernel import clock
from shop.trail.models import OutboxRow, TrailRow
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import stock

pytestmark = pytest.mark.django_db


def lines_of(client, pk):
    return client.get("invoice-lines/", invoice_id=pk).json()["items"]


def today():
    return clock.today().isoformat()


def test_from_what_was_done_to_paid(api, owner, office):
    card = make.finished(owner)
    client = api(office)
    made = client.post("invoices/", {"card_id": card.pk})
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    listed = [(x["kind"], x["quantity"], x["unit_price"], x["net"]) for x in lines_of(client, pk)]
    assert listed == [
        ("labour", "4", "68.00", "272.00"),  # booked; 3.5 were estimated
        ("labour", "1.25", "68.00", "85.00"),
        ("part", "2", "86.40", "172.80"),
        ("sundry", "1", "13.25", "13.25"),  # 2.5 % of 529.80
    ]
    assert "Estimated: 3.5\u00a0h." in lines_of(client, pk)[0]["how"]
    again = client.post("invoices/", {"card_id": card.pk})
    assert (again.status_code, again.json()["facts"]) == (409, {"invoice_id": pk})
    issued = client.post(f"invoices/{pk}/issue/")
    assert issued.status_code == 200, issued.content
    stated = issued.json()
    assert stated["number"] == f"INV-{clock.today():%y}-0001"
    assert (stated["total_net"], stated["total_tax"], stated["total_gross"]) == ("543.05", "124.90", "667.95")
    assert (stated["state"], stated["outstanding"]) == ("issued", "667.95")
    assert stated["due_on"] == (clock.today() + timedelta(days=30)).isoformat()
    assert OutboxRow.objects.filter(topic="invoice.issued", payload={"invoice": pk}).count() == 1
    paid = client.post(
        "payments/",
        {
            "customer_id": card.customer_id, "amount": "300", "method": "transfer", "received_on": today(),
            "allocations": [{"invoice_id": pk, "amount": "300"}],
        },
    )  # fmt: skip
    assert paid.status_code == 201, paid.content
    now = client.get(f"invoices/{pk}/").json()
    assert (now["state"], now["outstanding"]) == ("part-paid", "367.95")
    rest = {"customer_id": card.customer_id, "amount": "400", "method": "card", "received_on": today()}
    over = client.post("payments/", rest | {"allocations": [{"invoice_id": pk, "amount": "400"}]})
    assert (over.status_code, over.json()["type"]) == (400, "/api/problems/over-allocated")
    assert over.json()["facts"]["outstanding"] == "367.9500"
    assert Payment.objects.count() == 1
    client.post("payments/", rest | {"allocations": [{"invoice_id": pk, "amount": "367.95"}]})
    now = client.get(f"invoices/{pk}/").json()
    assert (now["state"], now["outstanding"]) == ("paid", "0.00")
    balance = client.get(f"balances/{card.customer_id}/").json()
    assert (balance["owed"], balance["credit"], balance["balance"]) == ("0.00", "32.05", "-32.05")
    assert [x["id"] for x in client.get("invoices/", state="open").json()["items"]] == []
    assert [x["id"] for x in client.get("invoices/", state="settled").json()["items"]] == [pk]
    verbs = set(TrailRow.objects.values_list("verb", flat=True))
    assert {"invoice.drafted", "invoice.issued", "payment.recorded"} <= verbs


def test_nothing_is_billed_twice_and_the_rest_later(api, owner):
    card, fit, test, rings = quote.job(owner)
    quote.agreed(owner, card)
    make.work(owner, fit, "2")
    client = api(owner)
    first = client.post("invoices/", {"card_id": card.pk}).json()["id"]
    assert [x["text"] for x in lines_of(client, first)] == ["Fit rings and pistons", "Sundries and small materials"]
    left = client.get(f"invoices/{first}/left-out/").json()["items"]
    assert [(x["reason"], x["text"], x["unit"]) for x in left] == [
        ("not-done", "Run on the brake", "HUR"), ("not-done", "RNG-078 Ring set, B2", "C62"),
    ]  # fmt: skip
    client.post(f"invoices/{first}/issue/")
    nothing = client.post("invoices/", {"card_id": card.pk})
    assert nothing.json()["type"] == "/api/problems/nothing-to-bill"
    make.work(owner, fit, "1.5")
    make.use(owner, fit, rings, "2")
    second = client.post("invoices/", {"card_id": card.pk}).json()["id"]
    assert [(x["text"], x["quantity"]) for x in lines_of(client, second)][:2] == [
        ("Fit rings and pistons", "1.5"), ("RNG-078 Ring set, B2", "2"),
    ]  # fmt: skip
    assert test.pk  # never begun, never billed


def test_what_was_never_agreed_is_left_out_unless_the_owner_says_why(api, owner, office):
    card = make.finished(owner)
    fit = Stage.objects.get(name="Fit rings and pistons")
    cards.unfinish_stage(fit.pk, by=owner, reason="One more gasket")
    gasket = quote.part(owner, "GKT-041", "Head gasket", "41.75")
    make.use(owner, fit, gasket, "1")
    client, clerk = api(owner), api(office)
    pk = clerk.post("invoices/", {"card_id": card.pk}).json()["id"]
    left = clerk.get(f"invoices/{pk}/left-out/").json()["items"]
    assert [(x["reason"], x["kind"], x["text"], x["quantity"], x["unit"]) for x in left] == [
        ("never-agreed", "part", "GKT-041 Head gasket", "1", "C62")
    ]
    charge = {"kind": "part", "stage_id": fit.pk, "part_id": gasket.pk, "reason": "They asked by radio"}
    assert clerk.post(f"invoices/{pk}/charge-unagreed/", charge).status_code == 403
    added = client.post(f"invoices/{pk}/charge-unagreed/", charge)
    assert added.status_code == 201, added.content
    assert (added.json()["net"], added.json()["not_agreed"]) == ("41.75", "They asked by radio")
    assert client.post(f"invoices/{pk}/charge-unagreed/", charge).status_code == 409
    assert clerk.get(f"invoices/{pk}/left-out/").json()["items"] == []


def test_the_agreed_is_the_upper_limit(api, owner, office):
    card = make.finished(owner)
    client, clerk = api(owner), api(office)
    pk = clerk.post("invoices/", {"card_id": card.pk}).json()["id"]
    line = lines_of(clerk, pk)[0]["id"]
    assert clerk.patch(f"invoice-lines/{line}/", {"quantity": "3.5"}).status_code == 200
    more = clerk.patch(f"invoice-lines/{line}/", {"unit_price": "70"})
    assert (more.status_code, more.json()["type"]) == (409, "/api/problems/more-than-agreed")
    assert clerk.patch(f"invoice-lines/{line}/", {"unit_price": "70", "reason": "Night work"}).status_code == 403
    assert (
        client.patch(f"invoice-lines/{line}/", {"unit_price": "70", "reason": "Night work"}).json()["net"] == "245.00"
    )
    free = {"invoice_id": pk, "text": "Freight", "unit_price": "30"}
    assert clerk.post("invoice-lines/", free).json()["type"] == "/api/problems/never-agreed"
    assert client.post("invoice-lines/", free | {"reason": "As usual"}).status_code == 201
    assert clerk.delete(f"invoice-lines/{line}/").status_code == 204
    edited = clerk.patch(f"invoices/{pk}/", {"note": "Thank you."})
    assert edited.json()["note"] == "Thank you."
    assert clerk.delete(f"invoices/{pk}/").status_code == 204
    assert not Invoice.objects.exists()


def test_a_clock_or_a_loose_part_stops_the_issue(api, owner, office):
    card, fit, _test, rings = quote.job(owner)
    quote.agreed(owner, card)
    make.work(owner, fit, "2")
    where = stock.bin_(owner, at=card.site)
    stock.lot(owner, rings.pk, "2", "40", at=where)
    draws.draw(by=owner, stage_id=fit.pk, part_id=rings.pk, quantity=D(2))
    timebook.clock_on(by=owner, stage_id=fit.pk)
    client, clerk = api(owner), api(office)
    pk = clerk.post("invoices/", {"card_id": card.pk}).json()["id"]
    refused = clerk.post(f"invoices/{pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/not-settled")
    assert refused.json()["facts"] == {"running": ["Maren Holt on stage 1"], "loose": ["RNG-078 (2)"]}
    assert clerk.post(f"invoices/{pk}/issue/", {"override": "In a hurry"}).status_code == 403
    assert not Invoice.objects.exclude(number="").exists()
    assert client.post(f"invoices/{pk}/issue/", {"override": "The boat sails"}).status_code == 200
    assert TrailRow.objects.get(verb="invoice.issued").detail["override"] == "The boat sails"


def test_discounts_that_were_agreed_are_taken_over(api, owner):
    card, fit, _test, _rings = quote.job(owner)
    draft = quote.draft(owner, card)
    client = api(owner)
    client.patch(f"estimates/{draft.pk}/", {"discount_percent": "10", "discount_reason": "Old customer"})
    line = draft.lines.first().pk
    client.patch(f"estimate-lines/{line}/", {"discount_percent": "50", "discount_reason": "Our fault"})
    client.post(f"estimates/{draft.pk}/issue/")
    draft.refresh_from_db()
    quote.say(owner, draft, {x.pk: True for x in draft.lines.all()})
    make.work(owner, fit, "2")
    pk = client.post("invoices/", {"card_id": card.pk}).json()["id"]
    shown = client.get(f"invoices/{pk}/").json()
    # 2 h x 68 less half = 68.00; sundries 1.70; less 10 % of 69.70
    assert (shown["sum_net"], shown["discount_percent"], shown["total_net"]) == ("69.70", "10", "62.73")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("seller", "VAT number"),
        ("buyer", "customer's address"),
        ("reverse", "customer's VAT number"),
    ],
)
def test_what_the_law_asks_for_must_be_known(api, owner, change, says):
    from shop.business.models import Business

    quote.shop(owner)
    customer = quote.customer(**({"street": "", "postcode": "", "city": ""} if change == "buyer" else {}))
    client = api(owner)
    pk = client.post("invoices/", {"customer_id": customer.pk}).json()["id"]
    tax = "AE" if change == "reverse" else "S23"
    client.post("invoice-lines/", {"invoice_id": pk, "text": "Starter", "unit_price": "90", "tax_code": tax})
    if change == "seller":
        Business.objects.update(vat_no="")
    refused = client.post(f"invoices/{pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/not-stated")
    assert says in refused.json()["detail"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"supplied_on": "2999-01-01"}, "/supplied_on"),
        ({"supplied_on": "2020-01-01"}, "/supplied_on"),
        ({"supplied_on": "soon"}, "/supplied_on"),
    ],
)
def test_a_wrong_day_of_supply(api, owner, body, pointer):
    pk = make.draft(owner).pk
    answer = api(owner).post(f"invoices/{pk}/issue/", body)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, pointer)
    assert Invoice.objects.get(pk=pk).number == ""


def test_an_empty_draft_is_not_issued(api, owner):
    quote.shop(owner)
    client = api(owner)
    pk = client.post("invoices/", {"customer_id": quote.customer().pk}).json()["id"]
    assert client.post(f"invoices/{pk}/issue/").json()["type"] == "/api/problems/no-lines"
    for body in ({}, {"customer_id": 1, "card_id": 1}, {"customer_id": 999999}, {"card_id": 999999}):
        assert client.post("invoices/", body).status_code in (400, 404)
    assert Invoice.objects.count() == 1


def test_rights_cost_and_margin(api, owner, office, mechanic, stores):
    invoice = make.issued(owner)
    first = invoice.lines.first().pk
    seen = api(owner).get(f"invoice-lines/{first}/").json()
    assert (seen["cost"], seen["margin"]) == ("96.00", "176.00")  # 4 h at 24
    clerk = api(office)
    assert not {"cost", "margin"} & set(clerk.get(f"invoice-lines/{first}/").json())
    assert clerk.post(f"invoices/{invoice.pk}/credit/", {"reason": "x"}).status_code == 403
    for nosy in (mechanic, stores):
        for path in (f"invoices/{invoice.pk}/", "invoices/", f"invoices/{invoice.pk}/pdf/", "payments/", "balances/1/"):
            assert api(nosy).get(path).status_code == 403, path


def test_a_repeat_happens_once_and_a_stale_edit_not_at_all(api, owner):
    card = make.finished(owner)
    client = api(owner)
    answers = [client.post("invoices/", {"card_id": card.pk}, key="invoice-card-1") for _ in range(3)]
    assert len({a.content for a in answers}) == 1
    pk = answers[0].json()["id"]
    etag = client.get(f"invoices/{pk}/")["ETag"]
    client.patch(f"invoices/{pk}/", {"note": "One"})
    assert client.patch(f"invoices/{pk}/", {"note": "Two"}, etag=etag).status_code == 412
    assert client.patch(f"invoices/{pk}/", {"note": "Two"}, etag=None).status_code == 428
    numbers = {client.post(f"invoices/{pk}/issue/", key="issue-once-1").json()["number"] for _ in range(3)}
    assert len(numbers) == 1
    assert client.post(f"invoices/{pk}/issue/").json()["type"] == "/api/problems/issued"
    assert client.patch(f"invoices/{pk}/", {"note": "Three"}).json()["type"] == "/api/problems/issued"
    assert client.delete(f"invoices/{pk}/").status_code == 409


def test_the_database_refuses_to_change_what_is_issued(owner):
    invoice = make.issued(owner)
    make.pay(owner, invoice, "10")
    line = invoice.lines.first()
    tries = [
        lambda: Invoice.objects.filter(pk=invoice.pk).update(total_gross=1),
        lambda: Invoice.objects.filter(pk=invoice.pk).update(buyer={}),
        lambda: Invoice.objects.filter(pk=invoice.pk).delete(),
        lambda: InvoiceLine.objects.filter(pk=line.pk).update(net=1),
        lambda: InvoiceLine.objects.filter(pk=line.pk).delete(),
        lambda: InvoiceLine.objects.bulk_create([_copy(line)]),
        lambda: Payment.objects.update(amount=1),
        lambda: Allocation.objects.update(amount=1),
        lambda: Allocation.objects.all()._raw_delete("default"),
        lambda: Payment.objects.all()._raw_delete("default"),
    ]
    for attempt in tries:
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()
    assert InvoiceLine.objects.filter(invoice=invoice).count() == 4


def _copy(line):
    line.pk = None
    return line


def test_lists_ask_the_database_no_more_for_more_rows(api, owner, django_assert_max_num_queries):
    customer = quote.customer()
    for _ in range(6):
        make.pay(owner, make.sale(owner, customer), "10")
    client = api(owner)
    for path in ("invoices/", "payments/", "allocations/"):
        with django_assert_max_num_queries(6) as few:
            assert len(client.get(path, limit=2).json()["items"]) == 2
        with django_assert_max_num_queries(len(few.captured_queries)):
            assert len(client.get(path, limit=6).json()["items"]) == 6


ART_226 = [
    # Directive 2006/112/EC, Article 226, by its points
    ("(1) date of issue", "25 November 2026"),
    ("(2) sequential number", "INV-26-0001"),
    ("(3) the supplier's VAT number", "IE1234567FA"),
    ("(5) the supplier's name", "Saltmarsh Engine Works"),
    ("(5) the supplier's address", "Old Slipway 3"),
    ("(5) the customer's name", "Ebbing Oyster Fishery"),
    ("(5) the customer's address", "Mill Lane 7"),
    ("(6) nature", "Fit rings and pistons"),
    ("(6) quantity", "1.25 h"),
    ("(7) date of supply", "Supplied 24 November 2026"),
    ("(8) taxable amount per rate", "543.05"),
    ("(8) unit price without VAT", "86.40"),
    ("(9) rate", "23%"),
    ("(10) VAT amount", "124.90"),
]


def test_the_pdf_states_what_article_226_asks_for(api, owner, monkeypatch):
    from datetime import UTC, date, datetime

    made = make.draft(owner)
    monkeypatch.setattr(clock, "today", lambda: date(2026, 11, 25))
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 11, 25, 9, 30, tzinfo=UTC))
    client = api(owner)
    client.post(f"invoices/{made.pk}/issue/", {"supplied_on": "2026-11-24"})
    answer = client.get(f"invoices/{made.pk}/pdf/")
    text = " ".join(reading.text(answer.content).lower().split())
    for point, said in ART_226:
        assert said.lower() in text, point
    assert answer["Content-Disposition"] == 'inline; filename="INV-26-0001.pdf"'
    Part.objects.update(name="Other", number="OTHER-1")
    assert client.get(f"invoices/{made.pk}/pdf/").content == answer.content


def test_reverse_charge_is_said(api, owner):
    quote.shop(owner)
    customer = quote.customer(name="Dune Pumps BV", country="NL", vat_no="NL004495445B01", kind="firm")
    client = api(owner)
    pk = client.post("invoices/", {"customer_id": customer.pk}).json()["id"]
    client.post("invoice-lines/", {"invoice_id": pk, "text": "Pump overhaul", "unit_price": "900", "tax_code": "AE"})
    issued = client.post(f"invoices/{pk}/issue/")
    assert issued.status_code == 200, issued.content
    assert issued.json()["total_tax"] == "0.00"
    text = reading.text(client.get(f"invoices/{pk}/pdf/").content)
    assert "Reverse charge" in text  # (11a)
    assert "NL004495445B01" in text  # (4)
    assert "Netherlands" in text
