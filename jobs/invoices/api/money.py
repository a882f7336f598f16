"""/api/v1/payments/, /refunds/, /allocations/, /balances/"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from jobs.machines.models import Customer
from shop.api.fields import Body, Choice, Day, Flag, Id, Moment, Money, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, queries
from ..models import Payment


class ShareIn(Body):
    invoice_id = Id()
    amount = Money()


class EarlyShareIn(ShareIn):
    early = Flag(required=False, help_text="With the discount it offers for early payment, which is credited.")


class PaymentIn(Body):
    customer_id = Id()
    amount = Money()
    method = Choice(choices=Payment.BY_HAND)
    received_on = Day()
    reference = Text(max_length=120, required=False)
    allocations = serializers.ListField(
        child=EarlyShareIn(), max_length=500, required=False, help_text="What isn't allocated stays to their credit."
    )


class AllocateIn(Body):
    allocations = serializers.ListField(child=ShareIn(), min_length=1, max_length=500)


class RefundIn(Body):
    customer_id = Id()
    amount = Money()
    method = Choice(choices=Payment.BY_HAND)
    paid_on = Day()
    reference = Text(max_length=120, required=False)


class ReversalIn(Body):
    reason = Text(max_length=120)


def _allocated(row: Payment) -> Decimal:
    known: Decimal | None = getattr(row, "allocated", None)
    return sum((a.amount for a in row.allocations.all()), Decimal(0)) if known is None else known


class PaymentOut(Out):
    id = Id()
    customer_id = Id()
    amount = Money(help_text="Below zero: went back.")
    currency = serializers.CharField()
    method = serializers.CharField()
    received_on = Day()
    reference = serializers.CharField()
    reverses_id = Id(allow_null=True)
    rounds_id = Id(allow_null=True, help_text="The payment in cash that this rounds.")
    allocated = serializers.SerializerMethodField()
    left = serializers.SerializerMethodField(
        help_text="What of it settles nothing: it stands to the customer's credit, unless it was paid back meanwhile."
    )
    at = Moment()
    by_id = Id()

    def get_allocated(self, row: Payment) -> str | None:
        return Money().to_representation(_allocated(row))

    def get_left(self, row: Payment) -> str | None:
        return Money().to_representation(row.amount - _allocated(row))


class AllocationOut(Out):
    id = Id()
    invoice_id = Id()
    payment_id = Id(allow_null=True)
    credit_note_id = Id(allow_null=True)
    amount = Money()
    at = Moment()


class BalanceOut(Out):
    """Of the customer of this id."""

    owed = Money()
    overdue = Money()
    credit = Money(help_text="Paid or credited and not allocated.")
    balance = Money(help_text="Above zero: the customer owes.")


class PaymentQuery(Query):
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    invoice_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class AllocationQuery(Query):
    invoice_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    payment_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


def shares(given: list[dict[str, Any]] | None) -> dict[int, Decimal]:
    found = {s["invoice_id"]: s["amount"] for s in given or []}
    if len(found) != len(given or []):
        raise ValidationError({"allocations": ["An invoice is named twice."]})
    return found


class Payments(Resource):
    kind = "payment"
    out = PaymentOut

    @lists("invoices.read", query=PaymentQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.payments(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.payment(pk)

    @posts("payments.record", body=PaymentIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        listed = body.pop("allocations", None)
        early = [x["invoice_id"] for x in listed or [] if x.get("early")]
        return actions.record_payment(by=request.user, allocations=shares(listed), early=early, **body)

    @verb("payments.record", path="allocate", body=AllocateIn)
    def allocate(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.allocate(by=request.user, payment_id=pk, allocations=shares(body["allocations"]))

    @verb("payments.record", path="reverse", body=ReversalIn, status=201, out=PaymentOut)
    def reverse(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A counter-row takes the payment and what it settled back."""
        return actions.reverse_payment(pk, by=request.user, **body)


class Refunds(Resource):
    kind = "payment"
    out = PaymentOut

    @posts("payments.record", body=RefundIn, out=PaymentOut)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Pay back at most what stands to the customer's credit."""
        return actions.refund(by=request.user, **body)


class Allocations(Resource):
    kind = "allocation"
    out = AllocationOut

    @lists("invoices.read", query=AllocationQuery, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.allocations(**query)


class Balances(Resource):
    kind = "balance"
    out = BalanceOut

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        """By the id of the customer."""
        return queries.balance(pk) if Customer.objects.filter(pk=pk).exists() else None
