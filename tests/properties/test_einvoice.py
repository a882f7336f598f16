"""Page, PDF, API and both electronic files (CII and UBL, read back by the reader of suppliers' invoices) state the same figures, for any
mix of lines, discounts, rates, a deposit taken off, and credit notes; and what we send adds up by EN 16931 to the last cent.
"""

from __future__ import annotations

from decimal import ROUND_DOWN
from decimal import Decimal as D

import pytest
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from inventory.buying import einvoice_xml
from inventory.buying.einvoice import sums
from jobs.invoices import actions, einvoice, printing
from jobs.invoices.models import Invoice
from shop.kernel import clock
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories.client import Api

from .test_money import LINES, places, words

pytestmark = pytest.mark.django_db

FEW = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], phases=[Phase.generate]
)


def documents(owner, lines, percent: D, deposit: D, credited: int, core: bool) -> list[Invoice]:
    """An invoice of these lines; with a deposit invoice that is paid and taken off it, and a credit note over some quarters of
    its first line or over all of it, or over one core whose deposit goes back."""
    quote.shop(owner)
    customer = quote.customer()
    found = []
    if deposit:
        asked = actions.draft_deposit(by=owner, customer_id=customer.pk, amount=deposit)
        found.append(actions.issue_invoice(asked.pk, None, by=owner))
        gross = Invoice.objects.get(pk=asked.pk).total_gross
        actions.record_payment(
            by=owner, customer_id=customer.pk, amount=gross, method="cash", received_on=clock.today(),
            allocations={asked.pk: gross},
        )  # fmt: skip
    draft = actions.draft_invoice(by=owner, customer_id=customer.pk)
    for n, values in enumerate(lines):
        why = {"discount_reason": "Because"} if values["discount_percent"] else {}
        values = {"text": f"Thing {n}"} | values
        actions.add_line(draft.pk, None, by=owner, **values, **why)
    if percent:
        actions.edit_invoice(draft.pk, None, by=owner, discount_percent=percent, discount_reason="Old customer")
    if deposit:
        actions.take_off_deposits(draft.pk, None, by=owner)
    found.append(actions.issue_invoice(draft.pk, None, by=owner))
    invoice = found[-1]
    if core and not deposit:
        back = {invoice.lines.get(text="Dear core").pk: D(1)}
        found.append(actions.credit_note(invoice.pk, by=owner, reason="Old part handed in", quantities=back))
    if credited and not deposit:
        first = invoice.lines.order_by("position").first()
        step = D(1) if first.quantity == first.quantity.to_integral_value() else D("0.001")  # a piece isn't halved
        some = {} if credited == 4 else {first.pk: (first.quantity * credited / 4).quantize(step, ROUND_DOWN)}
        if credited == 4 or some[first.pk]:
            more = {"quantities": some} if some else {}
            found.append(actions.credit_note(invoice.pk, by=owner, reason="Some of it", **more))
    return [Invoice.objects.get(pk=x.pk) for x in found]


@FEW
@given(
    lines=LINES,
    percent=st.one_of(st.just(D(0)), places(2, 3)),
    deposit=st.sampled_from([D(0), D("0.03"), D("7.77")]),
    credited=st.integers(0, 4),
    core=st.booleans(),
)
def test_page_pdf_api_and_both_files_state_the_same(owner, lines, percent, deposit, credited, core):
    dear = {
        "kind": "part",
        "quantity": D(3),
        "unit": "C62",
        "unit_price": D("33.333"),
        "discount_percent": D(0),
        "tax_code": "S23",
    }
    api, browser = Api(owner), Client()
    browser.force_login(owner)
    cores = dear | {"kind": "core", "text": "Dear core", "quantity": D(2), "unit_price": D("17.325")}
    for row in documents(owner, [*lines, dear, cores], percent if not deposit else D(0), deposit, credited, core):
        stored = list(row.lines.all())
        groups = {(g["category"], D(g["percent"])): (D(g["base"]), D(g["tax"])) for g in row.tax_groups}
        for write in (einvoice.cii, einvoice.ubl):
            read = einvoice_xml.read(write(row))
            assert (read.number, read.sum_lines, read.net, read.tax, read.gross) == (
                row.number, row.sum_net, row.total_net, row.total_tax, row.total_gross,
            )  # fmt: skip
            assert read.due == row.total_gross + row.rounding
            assert [(x.name, x.quantity, x.net) for x in read.lines] == [(x.text, x.quantity, x.net) for x in stored]
            assert {(t.category, t.rate): (t.base, t.amount) for t in read.taxes} == groups
            assert sums(read) == []
        answer = api.get(f"invoices/{row.pk}/").json()
        totals = [row.sum_net, row.total_net, row.total_tax, row.total_gross]
        assert [D(answer[name]) for name in ("sum_net", "total_net", "total_tax", "total_gross")] == totals
        page, paper = words(browser.get(f"/invoices/{row.pk}/")), reading.text(printing.pdf(row))
        for figure in [*totals[1:], *(abs(x.net) for x in stored), *(abs(x) for pair in groups.values() for x in pair)]:
            assert f"{figure:,.2f}" in page, (row.kind, figure)
            assert f"{figure:,.2f}" in paper, (row.kind, figure)
