"""A supplier's credit note, and what stands in goods received when all that came is charged, sent back and credited: nothing."""

import uuid
from datetime import date
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.buying import actions, queries
from inventory.buying.models import ReceiptLine, SupplierInvoice
from inventory.stock import ledger
from inventory.stock.models import Lot
from jobs.books import gathering
from shop.kernel import clock
from shop.kernel.errors import BadInput, Refused
from tests.factories import buying as buy
from tests.factories import estimates as quote
from tests.factories import stock as shelf
from tests.invoices.test_invoices_pages import words

pytestmark = pytest.mark.django_db


def came(by, quantity="4", price="40", *, freight="0", rate=None, currency="EUR", note="") -> ReceiptLine:
    quote.shop(by)
    seller = buy.supplier(by, f"Gullhaven {currency}", currency=currency)
    part = quote.part(by, f"SEAL-{uuid.uuid4().hex[:6].upper()}", "Shaft seal")
    row = actions.open_receipt(
        by=by, supplier_id=seller.pk, delivery_note=note or uuid.uuid4().hex[:8], bin_id=shelf.bin_(by).pk
    )
    values = {"freight": D(freight)} | ({"rate": D(rate)} if rate else {})
    actions.edit_receipt(row.pk, None, by=by, **values)
    line = actions.add_receipt_line(row.pk, None, by=by, part_id=part.pk, quantity=D(quantity), price=D(price))
    actions.accept_over(line.pk, by=by, reason="Asked for")
    actions.post_receipt(row.pk, None, by=by)
    return ReceiptLine.objects.get(pk=line.pk)


def bill(by, line, quantity, price, *, freight="0", allowance="0", tax="0") -> SupplierInvoice:
    net = D(quantity) * D(price) + D(freight) - D(allowance)
    return actions.record_supplier_invoice(
        by=by, supplier_id=line.receipt.supplier_id, number=f"R-{uuid.uuid4().hex[:8]}", dated_on=clock.today(), total=net,
        tax=D(tax), freight=D(freight), allowance=D(allowance), lines=[actions.Billed(line.pk, D(quantity), D(price))],
    )  # fmt: skip


def back(by, line, quantity) -> None:
    actions.send_back(
        by=by,
        receipt_line_id=line.pk,
        bin_id=line.bin_id or line.receipt.bin_id,
        quantity=D(quantity),
        reason="Scratched",
    )


def credit(by, on, line, quantity, price, *, corrects=False, **more) -> SupplierInvoice:
    amounts = {k: D(v) for k, v in more.items() if k in ("freight", "duty", "tax", "allowance")}
    net = D(quantity) * D(price) + amounts.get("freight", 0) + amounts.get("duty", 0) - amounts.get("allowance", 0)
    return actions.record_supplier_credit(
        on.pk, by=by, number=more.get("number", f"C-{uuid.uuid4().hex[:8]}"), dated_on=clock.today(),
        total=D(more["total"]) if "total" in more else net,
        lines=[actions.Credited(line.pk, D(quantity), D(price), corrects)], **amounts,
    )  # fmt: skip


def books() -> dict[str, D]:
    found: dict[str, D] = {}
    for entry in gathering.entries(date(2020, 1, 1), date(2100, 1, 1)):
        assert sum(x.amount for x in entry.lines) == 0, entry
        assert entry.currency == "EUR"
        for x in entry.lines:
            found[x.purpose] = found.get(x.purpose, D(0)) + x.amount
    return {k: v for k, v in found.items() if v}


def test_sent_back_before_a_bill_at_another_price(owner):
    line = came(owner)
    back(owner, line, "1")
    bill(owner, line, "3", "42")
    assert books() == {"stock": D(126), "payables": D(-126)}
    assert Lot.objects.get(pk=line.lot_id).cost == 42


def test_billed_sent_back_credited(owner):
    line = came(owner)
    charged = bill(owner, line, "4", "42", tax="38.64")
    back(owner, line, "1")
    assert books() == {"stock": D(126), "goods-received": D(42), "input-vat": D("38.64"), "payables": D("-206.64")}
    credit(owner, charged, line, "1", "42", tax="9.66")
    assert books() == {"stock": D(126), "input-vat": D("28.98"), "payables": D("-154.98")}


def test_they_credit_less_than_they_charged(owner):
    """What they keep is what the rest cost more."""
    line = came(owner)
    charged = bill(owner, line, "4", "40")
    back(owner, line, "2")
    credit(owner, charged, line, "2", "35", number="C-1")
    assert books() == {"stock": D(90), "payables": D(-90)}
    assert Lot.objects.get(pk=line.lot_id).cost == 45


def test_a_price_is_corrected_after_some_went_back(owner):
    line = came(owner)
    charged = bill(owner, line, "4", "42")
    back(owner, line, "1")
    credit(owner, charged, line, "1", "42")
    row = credit(owner, charged, line, "3", "2.5", corrects=True)
    assert [x.difference for x in row.lines.all()] == [D("-7.5")]
    assert books() == {"stock": D("118.5"), "payables": D("-118.5")}


def test_billed_in_part_before_some_went_back(owner):
    line = came(owner)
    bill(owner, line, "3", "42")
    back(owner, line, "1")
    assert books() == {"stock": D(126), "payables": D(-126)}


def test_in_foreign_currency_with_freight(owner):
    line = came(owner, "4", "50", freight="20", rate="0.9", currency="USD")  # 198.00 EUR landed
    charged = bill(owner, line, "4", "50", freight="20", tax="10")
    assert books() == {"stock": D(198), "input-vat": D(9), "payables": D(-207)}
    back(owner, line, "1")
    credit(owner, charged, line, "1", "50", freight="5", tax="2.5")
    found = books()
    assert found == {"stock": D("148.5"), "input-vat": D("6.75"), "payables": D("-155.25")}


def test_freight_of_what_went_back_is_borne_by_what_is_kept(owner):
    line = came(owner, freight="12")
    back(owner, line, "1")
    bill(owner, line, "3", "40", freight="12")
    assert books() == {"stock": D(132), "payables": D(-132)}
    assert Lot.objects.get(pk=line.lot_id).cost == 44


def test_taken_off_the_whole_makes_the_goods_cheaper(owner):
    line = came(owner)
    bill(owner, line, "4", "40", allowance="8")
    assert books() == {"stock": D(152), "payables": D(-152)}


def test_freight_alone_comes_back(owner):
    line = came(owner, freight="12")
    charged = bill(owner, line, "4", "40", freight="12")
    credit(owner, charged, line, "4", "0", corrects=True, freight="12")
    assert books() == {"stock": D(160), "payables": D(-160)}


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    quantity=st.integers(2, 9), price=st.integers(1, 5000), other=st.integers(1, 5000), gone=st.integers(0, 8),
    first=st.booleans(), whole=st.booleans(),
)  # fmt: skip
def test_goods_received_comes_to_nothing_in_any_order(owner, quantity, price, other, gone, first, whole):
    """To the cent: a unit's cost has six decimals, so exact postings may leave millionths."""
    gone = min(gone, quantity - 1)
    before = books().get("goods-received", D(0))
    line = came(owner, str(quantity), str(D(price) / 100))
    at = str(D(other) / 100)
    if gone and first:
        back(owner, line, gone)
    charged = bill(owner, line, quantity if whole or not first else quantity - gone, at)
    if gone and not first:
        back(owner, line, gone)
    if gone and (whole or not first):
        credit(owner, charged, line, gone, at)
    assert abs(books().get("goods-received", D(0)) - before) < D("0.0001")


def test_no_more_than_was_charged_and_once(owner):
    line = came(owner)
    charged = bill(owner, line, "3", "40", tax="27.60")
    with pytest.raises(BadInput, match="only 3 is not credited yet"):
        credit(owner, charged, line, "4", "40")
    with pytest.raises(BadInput, match="more than is left"):
        credit(owner, charged, line, "3", "41")
    with pytest.raises(BadInput, match="add up to"):
        credit(owner, charged, line, "1", "40", total="39.99")
    with pytest.raises(BadInput, match="not credited yet"):
        credit(owner, charged, line, "1", "40", tax="27.61")
    with pytest.raises(BadInput, match="not credited yet"):
        credit(owner, charged, line, "1", "40", freight="1")
    with pytest.raises(BadInput, match="not charged by"):
        credit(owner, charged, came(owner), "1", "40")
    with pytest.raises(BadInput, match="Say by how much"):
        actions.record_supplier_credit(
            charged.pk, by=owner, number="C-9", dated_on=clock.today(), total=D(0),
            lines=[actions.Credited(line.pk, D(1), None, True)],
        )  # fmt: skip
    assert SupplierInvoice.objects.count() == 1
    made = credit(owner, charged, line, "1", "40", number="C-1")
    for again in ("c-1", charged.number):
        with pytest.raises(BadInput, match="was recorded on"):
            credit(owner, charged, line, "1", "40", number=again)
    with pytest.raises(Refused, match="credit note itself"):
        credit(owner, made, line, "1", "40")
    with pytest.raises(BadInput, match="only 2 is not credited yet"):
        credit(owner, charged, line, "3", "10")
    with pytest.raises(DatabaseError), transaction.atomic():
        SupplierInvoice.objects.filter(pk=made.pk).update(total_net=1)


def test_over_page_and_api(owner, api, mechanic):
    line = came(owner)
    charged = bill(owner, line, "4", "40", tax="36.80")
    browser = Client()
    browser.force_login(owner)
    assert "Their credit note came" in words(browser.get(f"/supplier-invoices/{charged.pk}/"))
    page = f"/supplier-invoices/{charged.pk}/credit/"
    assert browser.get(page).status_code == 200
    form = {
        "once": str(uuid.uuid4()), "number": "C-77", "dated_on": clock.today().isoformat(), "total": "46", "tax": "10.58",
        f"back_{line.pk}": "1", f"price_{line.pk}": "40", f"less_{line.pk}": "2", f"of_{line.pk}": "3",
    }  # fmt: skip
    wrong = browser.post(page, form | {"total": "45", "once": str(uuid.uuid4())})
    assert wrong.status_code == 422
    assert "add up to 46" in words(wrong)
    for _ in range(2):  # pressed twice
        assert browser.post(page, form).status_code == 303
    made = SupplierInvoice.objects.get(number="C-77")
    shown = words(browser.get(f"/supplier-invoices/{made.pk}/"))
    for said in ("Their credit note", f"Credits {charged.number}", "Went back", "Price corrected", "€46.00"):
        assert said in shown, said
    assert "Credited by C-77" in words(browser.get(f"/supplier-invoices/{charged.pk}/"))
    assert f"credits {charged.number}" in words(browser.get("/supplier-invoices/"))
    assert browser.get(f"/supplier-invoices/{made.pk}/credit/").status_code == 302
    body = {
        "number": "C-78", "dated_on": clock.today().isoformat(), "total": "3", "lines": [
            {"receipt_line_id": line.pk, "quantity": "3", "price": "1", "corrects": True}
        ],
    }  # fmt: skip
    assert api(mechanic).post(f"supplier-invoices/{charged.pk}/credit/", body).status_code == 403
    assert api(owner).post(f"supplier-invoices/{charged.pk}/credit/", body).status_code == 201
    read = api(owner).get("supplier-invoices/", number="C-77").json()["items"][0]
    assert read["credits_id"] == charged.pk
    assert {x["effect"] for x in read["lines"]} == {"returned", "price"}
    assert api(owner).post(f"supplier-invoices/{10**9}/credit/", body).status_code == 404


def test_the_three_way_look_says_what_is_credited(owner):
    part = quote.part(owner, "SEAL-3W", "Shaft seal")
    order = buy.sent(owner, part, "4")
    receipt = buy.received(owner, order)
    line = receipt.lines.get()
    charged = bill(owner, line, "4", str(line.price))
    actions.send_back(
        by=owner, receipt_line_id=line.pk, bin_id=receipt.bin_id, quantity=D(1), reason="Scratched", replace=False
    )
    order.refresh_from_db()
    assert any("ask for 1" in said for said in queries.three_way(order)[0].words)
    credit(owner, charged, line, "1", str(line.price))
    said = " ".join(queries.three_way(order)[0].words)
    assert "are credited." in said
    assert "ask for" not in said


def cost(line) -> D:
    assert list(ledger.wrong()) == []
    return Lot.objects.get(pk=line.lot_id).cost


def test_freight_that_was_never_counted_is_credited(owner):
    """It never went into the goods, so it does not come out of them."""
    line = came(owner, "10", "10")
    charged = bill(owner, line, "10", "10", freight="20")
    assert cost(line) == 10
    credit(owner, charged, line, "10", "0", corrects=True, freight="20")
    assert cost(line) == 10
    assert books() == {"stock": D(100), "payables": D(-100)}


def test_of_freight_beyond_what_was_counted_the_excess_is_credited_first(owner):
    line = came(owner, "10", "10", freight="4")
    charged = bill(owner, line, "10", "10", freight="6")
    credit(owner, charged, line, "10", "0", corrects=True, freight="2")
    assert cost(line) == D("10.4")
    assert books() == {"stock": D(104), "payables": D(-104)}
    credit(owner, charged, line, "10", "0", corrects=True, freight="4")
    assert cost(line) == 10
    assert books() == {"stock": D(100), "payables": D(-100)}


def test_freight_is_charged_anew_after_a_cancellation(owner):
    line = came(owner, "10", "10", freight="4")
    cancelled = bill(owner, line, "10", "10", freight="4")
    credit(owner, cancelled, line, "10", "10", freight="4")
    assert cost(line) == 10
    bill(owner, line, "10", "9.50", freight="4", allowance="1")
    assert cost(line) == D("9.8")  # (95 + 4 - 1) / 10
    assert books() == {"stock": D(98), "payables": D(-98)}


def test_freight_of_two_deliveries_in_one_invoice(owner):
    """4.00 and 5.00 were counted, 12.00 charged in one; 7.00 come back: 4.00 of the 9.00 are out, by what each cost."""
    first = came(owner, "10", "10", freight="4")
    second = came(owner, "10", "20", freight="5")
    charged = actions.record_supplier_invoice(
        by=owner, supplier_id=first.receipt.supplier_id, number="R-2", dated_on=clock.today(), total=D(312), freight=D(12),
        lines=[actions.Billed(first.pk), actions.Billed(second.pk)],
    )  # fmt: skip
    assert (cost(first), cost(second)) == (D("10.4"), D("20.5"))
    actions.record_supplier_credit(
        charged.pk, by=owner, number="C-2", dated_on=clock.today(), total=D(7), freight=D(7),
        lines=[actions.Credited(x.pk, D(10), D(0), corrects=True) for x in (first, second)],
    )  # fmt: skip
    assert cost(first) * 10 + cost(second) * 10 == 305
    assert books() == {"stock": D(305), "payables": D(-305)}


def test_duty_and_freight_are_counted_apart(owner):
    """Freight was counted, duty was not: the duty that comes back takes no freight out."""
    line = came(owner, "10", "10", freight="4")
    charged = actions.record_supplier_invoice(
        by=owner, supplier_id=line.receipt.supplier_id, number="R-3", dated_on=clock.today(), total=D(107), freight=D(4),
        duty=D(3), lines=[actions.Billed(line.pk)],
    )  # fmt: skip
    credit(owner, charged, line, "10", "0", corrects=True, duty="3")
    assert cost(line) == D("10.4")
    assert books() == {"stock": D(104), "payables": D(-104)}


def test_charged_and_credited_beyond_what_came(owner):
    """10 came at 10.00 with two invoices of 6 and 6 at 11.00; 2 are credited: 110.00 are paid."""
    line = came(owner, "10", "10")
    bill(owner, line, "6", "11")
    charged = bill(owner, line, "6", "11")
    credit(owner, charged, line, "2", "11")
    assert cost(line) == 11
    assert books() == {"stock": D(110), "payables": D(-110)}
