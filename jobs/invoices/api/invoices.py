"""/api/v1/invoices/, /invoice-lines/"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from jobs.estimates import explaining
from jobs.estimates.api import LineBaseOut, LineBody, TotalsOut
from shop.api.fields import Body, Choice, Day, Id, Int, Money, Number, Out, Query, Text
from shop.api.files import downloads
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel.errors import NotFound

from .. import actions, einvoice, printing, queries
from ..models import Invoice
from .money import AllocateIn, shares

_PERCENT: dict[str, Any] = {"places": 3, "digits": 6}


class InvoiceOut(TotalsOut):
    id = Id()
    kind = serializers.CharField()
    number = serializers.CharField(help_text="Given when it is issued; without a gap.")
    state = serializers.SerializerMethodField(help_text=", ".join(queries.STATES))
    card_id = Id(allow_null=True)
    customer_id = Id()
    customer_name = serializers.CharField(source="customer.name")
    credits_id = Id(allow_null=True, help_text="The invoice that a credit note takes back.")
    counters_id = Id(allow_null=True, help_text="The credit note whose discount a debit note charges again.")
    reason = serializers.CharField(help_text="Of a credit or debit note.")
    supplied_on = Day(allow_null=True)
    due_on = Day(allow_null=True)
    early_percent = Number(help_text="Off when paid by early_until; on a credit note: the discount it gives.")
    early_until = Day(allow_null=True)
    rounding = Money(help_text="BT-114, added to what is due.")
    due = serializers.SerializerMethodField(help_text="BT-115 without payments: total and rounding.")
    outstanding = serializers.SerializerMethodField(
        help_text="Still to pay; of a credit note below zero: what of it settles nothing yet."
    )

    def get_state(self, row: Invoice) -> str:
        return queries.state_of(row)

    def get_due(self, row: Invoice) -> str | None:
        return Money().to_representation(row.total_gross + row.rounding)

    def get_outstanding(self, row: Invoice) -> str | None:
        return Money().to_representation(queries.outstanding(row))


class InvoiceLineOut(LineBaseOut):
    invoice_id = Id()
    estimate_line_id = Id(allow_null=True)
    credits_line_id = Id(allow_null=True)
    deducts_id = Id(allow_null=True, help_text="The deposit invoice that this line takes off.")
    not_agreed = serializers.CharField(help_text="Why the owner charges what was never agreed.")
    version = Int(help_text="Of the invoice.")

    def get_how(self, row: Any) -> list[str]:
        return explaining.line(row, row.invoice.currency)


class LeftOutOut(Out):
    """Something the draft of a card leaves out."""

    reason = serializers.CharField(help_text="never-agreed, no-stage, not-done or not-chargeable.")
    kind = serializers.CharField()
    text = serializers.CharField()
    quantity = Number()
    unit = serializers.CharField(help_text="UN/ECE Recommendation 20.")
    stage_id = Id(source="stage", allow_null=True)
    part_id = Id(source="part", allow_null=True)
    estimate_line_id = Id(source="line", allow_null=True, help_text="What was agreed and is not billed.")


class LeftOutList(Out):
    items = LeftOutOut(many=True)


class InvoiceIn(Body):
    card_id = Id(required=False, help_text="Either a card, whose work is billed,")
    customer_id = Id(required=False, help_text="or a customer, for a sale without a card.")


class InvoiceEdit(Body):
    note = Text(max_length=4000, lines=True, required=False)
    discount_percent = Number(required=False, **_PERCENT, help_text="On the whole document; needs estimates.discount.")
    discount_reason = Text(max_length=120, required=False)


class InvoiceLineEdit(LineBody):
    reason = Text(max_length=200, required=False, help_text="An owner's, for more than was agreed and done.")


class InvoiceLineIn(InvoiceLineEdit):
    invoice_id = Id(help_text="A draft.")
    part_id = Id(required=False, allow_null=True)


class InvoiceIssueIn(Body):
    supplied_on = Day(required=False, help_text="By default the day the last stage was finished.")
    override = Text(
        max_length=200,
        required=False,
        help_text="An owner's reason to issue with clocks or parts loose, a deposit not paid or not taken off.",
    )


class ChargeIn(Body):
    kind = Choice(choices=[("labour", "Labour"), ("part", "Parts")])
    stage_id = Id(required=False)
    part_id = Id(required=False)
    estimate_line_id = Id(required=False, help_text="Of what is left out for no-stage: charged as agreed.")
    reason = Text(max_length=200)


class CreditLineIn(Body):
    line_id = Id()
    quantity = Number()


class CreditIn(Body):
    reason = Text(max_length=200)
    lines = serializers.ListField(
        child=CreditLineIn(),
        min_length=1,
        max_length=2000,
        required=False,
        help_text="Left out: all that is left of it.",
    )


class InvoiceQuery(Query):
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    kind = serializers.ChoiceField(choices=Invoice.Kind.choices, required=False)
    state = serializers.ChoiceField(choices=["draft", "open", "overdue", "settled"], required=False)
    number = serializers.CharField(max_length=20, required=False, help_text="Its start.")
    since = Day(required=False, help_text="Issued on or after.")


class OfInvoice(Query):
    invoice_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)


class Invoices(Resource):
    kind = "invoice"
    out = InvoiceOut

    @lists("invoices.read", query=InvoiceQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.invoices(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.invoice(pk)

    @posts("invoices.issue", body=InvoiceIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A draft of what is to be billed."""
        return actions.draft_invoice(by=request.user, **body)

    @edits("invoices.issue", body=InvoiceEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_invoice(pk, expect, by=request.user, **body)

    @removes("invoices.issue")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Discard a draft."""
        actions.discard_invoice(pk, expect, by=request.user)

    @verb("invoices.issue", path="issue", body=InvoiceIssueIn)
    def issue(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.issue_invoice(pk, None, by=request.user, **body)

    @verb("invoices.override", path="charge-unagreed", body=ChargeIn, status=201, out=InvoiceLineOut)
    def charge_unagreed(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Put what was never agreed onto the draft all the same."""
        return actions.charge_unagreed(pk, None, by=request.user, **body)

    @verb("invoices.credit", path="credit", body=CreditIn, status=201, out=InvoiceOut)
    def credit(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Issue a credit note for all that is left of it, or for some of its lines."""
        given = body.get("lines")
        quantities = {x["line_id"]: x["quantity"] for x in given} if given is not None else None
        if given is not None and quantities is not None and len(quantities) != len(given):
            raise ValidationError({"lines": ["A line is named twice."]})
        return actions.credit_note(pk, by=request.user, reason=body["reason"], quantities=quantities)

    @verb("invoices.issue", path="allocate", body=AllocateIn)
    def allocate(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Let what is left of a credit note settle invoices."""
        return actions.allocate(by=request.user, credit_note_id=pk, allocations=shares(body["allocations"]))

    @verb("invoices.issue", path="take-off-deposits")
    def take_off_deposits(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Take what deposits charged off a draft, anew: of each VAT rate at most what the draft charges."""
        return actions.take_off_deposits(pk, None, by=request.user)

    @reads("invoices.read", path="left-out", out=LeftOutList)
    def left_out(self, request: Any, pk: int) -> Any:
        """What the draft of a card leaves out: never agreed, agreed and not done, not chargeable."""
        return queries.left_out_page(pk)

    @downloads("invoices.read")
    def pdf(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The document, tagged for screen readers; marked as a draft until it is issued."""
        found = queries.invoice(pk)
        if found is None:
            raise NotFound("There is no such invoice.")
        return printing.pdf(found), printing.file_name(found)

    @downloads("invoices.read", path="cii", media_type="application/xml")
    def cii(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The electronic invoice by EN 16931 as UN/CEFACT CII: what its PDF carries inside. 409 for a draft."""
        return self._electronic(pk, "cii", einvoice.cii)

    @downloads("invoices.read", path="ubl", media_type="application/xml")
    def ubl(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The same as OASIS UBL 2.1. 409 for a draft."""
        return self._electronic(pk, "ubl", einvoice.ubl)

    def _electronic(self, pk: int, syntax: str, make: Callable[[Invoice], bytes]) -> tuple[bytes, str]:
        found = queries.invoice(pk)
        if found is None:
            raise NotFound("There is no such invoice.")
        return make(found), einvoice.file_name(found, syntax)


class InvoiceLines(Resource):
    kind = "invoice-line"
    out = InvoiceLineOut

    @lists("invoices.read", query=OfInvoice, orders={"position": ("position", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.lines(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.line(pk)

    @posts("invoices.issue", body=InvoiceLineIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_line(body.pop("invoice_id"), None, by=request.user, **body)

    @edits("invoices.issue", body=InvoiceLineEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_line(pk, expect, by=request.user, **body)

    @removes("invoices.issue")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_line(pk, expect, by=request.user)
