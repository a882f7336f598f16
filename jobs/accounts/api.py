"""/api/v1/aged-balances/, /statements/, /reminders/, /due-reminders/, /disputes/, /storage/"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.files import downloads
from shop.api.kit import Resource, lists, posts, reads, verb
from shop.kernel import clock
from shop.kernel.errors import NotFound, field_error

from . import actions, printing, queries


class AgedOut(Out):
    """What a customer owes, by how late it is."""

    customer_id = Id(source="customer.pk")
    customer_name = serializers.CharField(source="customer.name")
    not_due = Money()
    late_30 = Money(help_text="1 to 30 days late.")
    late_60 = Money(help_text="31 to 60.")
    late_90 = Money(help_text="61 to 90.")
    later = Money(help_text="More than 90.")
    owed = Money()
    credit = Money(help_text="Paid or credited and not allocated.")
    balance = Money()


class AgedList(Out):
    items = AgedOut(many=True)


class EntryOut(Out):
    on = Day()
    what = serializers.CharField(help_text="invoice, deposit, credit, debit, payment, refund, reversal or rounding.")
    number = serializers.CharField(help_text="Of the document, or what came with the money.")
    amount = Money(help_text="Above zero the customer owes more.")
    balance = Money()


class StatementOut(Out):
    customer_id = Id(source="customer.pk")
    since = Day()
    until = Day()
    currency = serializers.CharField()
    opening = Money()
    closing = Money()
    entries = serializers.SerializerMethodField()

    def get_entries(self, row: queries.Statement) -> list[dict[str, Any]]:
        found = [vars_of(e) | {"balance": balance} for e, balance in row.entries]
        return EntryOut(found, many=True).data  # type: ignore[return-value]


def vars_of(entry: Any) -> dict[str, Any]:
    return {"on": entry.on, "what": entry.what, "number": entry.number, "amount": entry.amount}


class StatementQuery(Query):
    since = Day(required=False, help_text="By default 90 days before `until`.")
    until = Day(required=False, help_text="By default today.")


class LateOut(Out):
    invoice_id = Id(source="invoice.pk")
    number = serializers.CharField(source="invoice.number")
    level = Int()
    open = Money()
    late_days = Int(source="days_late")
    interest = Money()


class ProposalOut(Out):
    customer_id = Id(source="customer.pk")
    customer_name = serializers.CharField(source="customer.name")
    level = Int()
    open_total = Money()
    interest = Money()
    fee = Money()
    total = Money()
    credit = Money(help_text="Paid or credited and not allocated: set it against what is open first.")
    invoices = LateOut(source="lines", many=True)


class ProposalList(Out):
    items = ProposalOut(many=True)
    covered = ProposalOut(many=True, help_text="No letter: what stands to the customer's credit covers what is open.")


class ReminderIn(Body):
    customer_id = Id()


class ReminderOut(Out):
    id = Id()
    number = serializers.CharField()
    customer_id = Id()
    level = Int()
    issued_on = Day()
    pay_by = Day()
    currency = serializers.CharField()
    open_total = Money()
    interest = Money()
    interest_percent = Number()
    fee = Money()


class OfCustomer(Query):
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class OfInvoice(Query):
    invoice_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class DisputeIn(Body):
    invoice_id = Id()
    reason = Text(max_length=300)


class OutcomeIn(Body):
    outcome = Text(max_length=300)


class DisputeOut(Out):
    id = Id()
    invoice_id = Id()
    reason = serializers.CharField()
    raised_at = Moment()
    ended_at = Moment(allow_null=True)
    outcome = serializers.CharField()


class StoredOut(Out):
    card_id = Id(source="card.pk")
    card_number = serializers.CharField(source="card.number")
    first_day = Day(source="stay.first")
    last_day = Day(source="stay.last")
    days = Int(source="stay.days")
    per_day = Money()
    amount = Money(help_text="Net; proposed, not charged.")


class StoredList(Out):
    items = StoredOut(many=True)


class StorageIn(Body):
    card_id = Id()


class DraftOut(Out):
    invoice_id = Id(source="pk")


class AgedBalances(Resource):
    kind = "aged-balance"
    out = AgedList

    @reads("invoices.read", path="now", detail=False, out=AgedList)
    def now(self, request: Any) -> Any:
        """Every customer with something open or to their credit, the largest debt first."""
        names = ("not_due", "late_30", "late_60", "late_90", "later")
        return {
            "items": [
                {
                    "customer": a.customer, "owed": a.owed, "credit": a.credit, "balance": a.balance,
                    **dict(zip(names, a.bands, strict=True)),
                }
                for a in queries.ages()
            ]
        }  # fmt: skip


class Statements(Resource):
    kind = "statement"
    out = StatementOut

    @reads("invoices.read", query=StatementQuery)
    def retrieve(self, request: Any, query: dict[str, Any], pk: int) -> Any:
        """By the id of the customer."""
        until = query.get("until") or clock.today()
        since = query.get("since") or until - timedelta(days=90)
        if since > until:
            raise field_error("until", "The end lies before the beginning.")
        return queries.statement(pk, since, until)


class Reminders(Resource):
    kind = "reminder"
    out = ReminderOut

    @lists("invoices.read", query=OfCustomer, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.reminders(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.reminders().filter(pk=pk).first()

    @reads("invoices.read", path="due", detail=False, out=ProposalList)
    def due(self, request: Any) -> Any:
        """Letters that are due today by the terms of payment."""
        found = queries.letters()
        return {"items": found.due, "covered": found.covered}

    @posts("invoices.issue", body=ReminderIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Write the letter a customer has coming; it is mailed when they agreed to be mailed."""
        return actions.send_reminder(by=request.user, **body)

    @downloads("invoices.read")
    def pdf(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The letter."""
        row = queries.reminders().filter(pk=pk).first()
        if row is None:
            raise NotFound("There is no such letter.")
        return printing.letter(row), f"{row.number}.pdf"


class Disputes(Resource):
    kind = "dispute"
    out = DisputeOut

    @lists("invoices.read", query=OfInvoice, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.disputes(**query)

    @posts("invoices.issue", body=DisputeIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Letters about the invoice stop."""
        return actions.raise_dispute(by=request.user, **body)

    @verb("invoices.issue", path="end", body=OutcomeIn)
    def end(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.end_dispute(pk, by=request.user, **body)


class Storage(Resource):
    kind = "invoice"
    out = StoredList

    @reads("invoices.read", path="due", detail=False, out=StoredList)
    def due(self, request: Any) -> Any:
        """Finished machines that stand beyond their free days, and what that would come to."""
        return {"items": queries.uncollected()}

    @posts("invoices.issue", body=StorageIn, out=DraftOut)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A draft invoice over the days of a card."""
        return actions.bill_storage(body["card_id"], by=request.user)


def register(router: Any) -> None:
    router.register("aged-balances", AgedBalances, basename="aged-balances")
    router.register("statements", Statements, basename="statements")
    router.register("reminders", Reminders, basename="reminders")
    router.register("disputes", Disputes, basename="disputes")
    router.register("storage", Storage, basename="storage")
