"""Purchase orders and their lines."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from shop.api.fields import Body, Choice, Day, Email, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.files import downloads
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel import clock
from shop.kernel.errors import NotFound

from .. import actions, printing, queries, states
from ..models import OrderLine, PurchaseOrder

STATES = [s.code for s in (states.DRAFT, states.SENT, states.CONFIRMED, states.PART, states.CLOSED)]


class OrderEdit(Body):
    site_id = Id(required=False, help_text="Where it shall come; the oldest site in use if left out.")
    wanted_on = Day(required=False, allow_null=True)
    note = Text(max_length=4000, lines=True, required=False, help_text="To the supplier, printed.")


class OrderIn(OrderEdit):
    supplier_id = Id()


class OrderSendIn(Body):
    how = Choice(
        choices=PurchaseOrder.How.choices, required=False, help_text="mail if left out; phone, printed: you tell them."
    )


class PromiseIn(Body):
    line_id = Id()
    promised_on = Day()


class OrderConfirmIn(Body):
    confirmation_no = Text(max_length=60, required=False, help_text="The supplier's.")
    promised_on = Day(required=False, allow_null=True, help_text="For all lines not named in `lines`.")
    lines = serializers.ListField(child=PromiseIn(), max_length=500, required=False)


class OrderChaseIn(Body):
    how = Choice(choices=[("mail", "By mail"), ("phone", "By phone")], required=False)
    note = Text(max_length=200, required=False, help_text="What they said; needed for phone.")


class CloseIn(Body):
    reason = Text(max_length=200)


class OrderOut(Out):
    id = Id()
    number = serializers.CharField(help_text="Empty until it is sent.")
    supplier_id = Id()
    site_id = Id()
    currency = serializers.CharField()
    wanted_on = Day(allow_null=True)
    note = serializers.CharField()
    state = serializers.SerializerMethodField(help_text="draft, sent, confirmed, part-received or closed.")
    overdue_days = serializers.SerializerMethodField(help_text="By how many days the longest awaited line is late.")
    total = serializers.SerializerMethodField(help_text="Of all lines, before tax.")
    created_at = Moment()
    sent_at = Moment(allow_null=True)
    sent_how = serializers.CharField()
    sent_to = Email(allow_blank=True)
    confirmed_at = Moment(allow_null=True)
    confirmation_no = serializers.CharField()
    chased_at = Moment(allow_null=True)
    closed_at = Moment(allow_null=True)
    version = Int()

    def get_state(self, row: PurchaseOrder) -> str:
        return states.state_of(row, list(row.lines.all())).code

    def get_overdue_days(self, row: PurchaseOrder) -> int:
        return states.days_overdue(list(row.lines.all()), clock.today()) if row.sent_at else 0

    def get_total(self, row: PurchaseOrder) -> str:
        return Money().to_representation(printing.total(list(row.lines.all()), row.currency)) or ""


class SideOut(Out):
    quantity = Number(help_text="In the part's unit.")
    price = Money(places=6, allow_null=True, help_text="For each `price_per`, before tax.")
    price_per = Number()


class ThreeWayLineOut(Out):
    order_line_id = serializers.IntegerField(source="line.pk")
    part_id = serializers.IntegerField(source="line.part_id")
    ordered = SideOut(allow_null=True)
    received = SideOut()
    sent_back = Number()
    billed = SideOut(allow_null=True, help_text="Null: no invoice yet.")
    words = serializers.ListField(child=serializers.CharField(), help_text="What differs; empty: nothing.")


class ThreeWayOut(Out):
    lines = ThreeWayLineOut(many=True)
    words = serializers.ListField(
        child=serializers.CharField(),
        help_text="Where freight or duty is charged otherwise than was counted at receipt.",
    )


class OrderQuery(Query):
    state = serializers.ChoiceField(choices=list(queries.STATES), required=False)
    supplier_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    number = serializers.CharField(max_length=20, required=False, help_text="Part of it.")


class PurchaseOrders(Resource):
    kind = "purchase-order"
    out = OrderOut

    @lists("buying.read", query=OrderQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.orders(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.order(pk)

    @posts("buying.edit", body=OrderIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """An empty draft."""
        return actions.draft_order(by=request.user, **body)

    @edits("buying.edit", body=OrderEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_order(pk, expect, by=request.user, **body)

    @removes("buying.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Discard a draft."""
        actions.discard_order(pk, expect, by=request.user)

    @verb("buying.edit", path="send", body=OrderSendIn)
    def send(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Number it and send it; from then on its lines stay."""
        return actions.send_order(pk, None, by=request.user, **body)

    @verb("buying.edit", path="confirm", body=OrderConfirmIn)
    def confirm(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """What the supplier promises; again when they name other days."""
        given = body.pop("lines", [])
        promised = {p["line_id"]: p["promised_on"] for p in given}
        if len(promised) != len(given):
            raise ValidationError({"lines": ["A line is named twice."]})
        return actions.confirm_order(pk, None, by=request.user, promised=promised, **body)

    @verb("buying.edit", path="chase", body=OrderChaseIn)
    def chase(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Ask where it stays."""
        return actions.chase_order(pk, None, by=request.user, **body)

    @verb("buying.edit", path="close", body=CloseIn)
    def close(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Nothing more of it will come."""
        return actions.close_order(pk, None, by=request.user, **body)

    @reads("buying.read", path="three-way", out=ThreeWayOut)
    def three_way(self, request: Any, pk: int) -> Any:
        """Order, receipt and invoice of each line side by side, and in words what differs."""
        found = queries.order(pk)
        return None if found is None else {"lines": queries.three_way(found), "words": queries.extras(found)}

    @downloads("buying.read")
    def pdf(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The order as typeset; marked as a draft until it is sent."""
        found = queries.order(pk)
        if found is None:
            raise NotFound("There is no such order.")
        return printing.pdf(found), printing.file_name(found)


class OrderLineEdit(Body):
    packages = Number(required=False, min_value=0, help_text="Of an offer whole ones; without, in the part's unit.")
    price = Money(places=6, min_value=0, required=False, allow_null=True, help_text="Of one package, before tax.")
    label = Text(max_length=120, required=False, help_text="What it is for, such as card 26-0031.")  # type: ignore[assignment]
    wanted_on = Day(required=False, allow_null=True)


class OrderLineIn(Body):
    """Onto the order named, or with `supplier_id` onto that supplier's open draft, which is begun when there is none."""

    order_id = Id(required=False, help_text="A draft.")
    supplier_id = Id(required=False)
    part_id = Id()
    quantity = Number(min_value=0, help_text="In the part's unit; filled up to whole packages.")
    offer_id = Id(required=False, help_text="Left out: the cheapest of the supplier for this quantity.")
    price = Money(
        places=6, min_value=0, required=False, help_text="Of one package instead of the offer's; only with `order_id`."
    )
    label = Text(max_length=120, required=False, help_text="What it is for, such as card 26-0031.")  # type: ignore[assignment]
    wanted_on = Day(required=False, allow_null=True)


class OrderLineOut(Out):
    id = Id()
    order_id = Id()
    position = Int()
    part_id = Id()
    offer_id = Id(allow_null=True)
    number = serializers.CharField(help_text="The supplier's.")
    name = serializers.CharField()
    package = serializers.CharField()
    per_package = Number(help_text="In the part's unit.")
    packages = Number()
    quantity = Number(help_text="In the part's unit.")
    price = Money(places=6, allow_null=True, help_text="Of one package, before tax; null: not known.")
    label = serializers.CharField()  # type: ignore[assignment]
    wanted_on = Day(allow_null=True)
    promised_on = Day(allow_null=True)
    due_on = Day(allow_null=True, help_text="Promised, else wanted, else by the lead time.")
    received = Number(help_text="What came, less what went back to be replaced.")
    open = Number(help_text="Still awaited, in the part's unit.")
    overdue = serializers.SerializerMethodField()
    closed_at = Moment(allow_null=True)
    closed_reason = serializers.CharField(help_text="Why the rest never comes.")
    version = Int(help_text="Of the order.")

    def get_overdue(self, row: OrderLine) -> bool:
        return bool(row.order.sent_at and row.due_on and row.open and row.due_on < clock.today())


class OrderLineQuery(Query):
    order_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    part_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    supplier_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    label = serializers.CharField(max_length=120, required=False, help_text="What it is for, whole.")  # type: ignore[assignment]
    awaited = serializers.BooleanField(allow_null=True, default=None, help_text="Ordered, and something still to come.")
    overdue = serializers.BooleanField(default=False)


class OrderLines(Resource):
    kind = "purchase-order-line"
    out = OrderLineOut

    @lists("buying.read", query=OrderLineQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.order_lines(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.order_line(pk)

    @posts("buying.edit", body=OrderLineIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        given = dict(body)
        order_id = given.pop("order_id", None)
        if order_id is not None and "supplier_id" not in given:
            return actions.add_order_line(order_id, None, by=request.user, **given)
        if order_id is None and "supplier_id" in given and "price" not in given:
            return actions.add_to_order(by=request.user, **given)
        raise ValidationError({"order_id": ["Name the order, or the supplier (then without a price); not both."]})

    @edits("buying.edit", body=OrderLineEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_order_line(pk, expect, by=request.user, **body)

    @removes("buying.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Take it off a draft."""
        actions.remove_order_line(pk, expect, by=request.user)

    @verb("buying.edit", path="close", body=CloseIn)
    def close(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """The rest of it never comes."""
        return actions.close_order_line(pk, None, by=request.user, **body)
