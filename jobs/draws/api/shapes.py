"""What the API shows of where the parts of a need come from."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Int, Number, Out, Text


class ShareOut(Out):
    order_line_id = Id(source="line.pk")
    order_id = Id(source="line.order_id")
    order = serializers.CharField(source="line.order", help_text="Its number; empty while it is a draft.")
    supplier = serializers.CharField(source="line.supplier")
    due_on = Day(source="line.due_on", allow_null=True, help_text="When it is expected; null: nobody knows.")
    quantity = Number()


class SupplyOut(Out):
    """What becomes of a need; kept, free, coming and short add up to what is left to draw."""

    kept = Number(help_text="Kept on the shelf for it.")
    free = Number(help_text="Free on the shelf, and its turn by the promised days.")
    coming = ShareOut(many=True)
    short = Number(help_text="Nothing is there for it: order it.")
    expected_on = Day(
        source="by", allow_null=True, help_text="When the last of it comes; null: it is here, or unknown."
    )


class NeedSupplyOut(Out):
    need_id = Id(source="need.pk")
    card_id = Id(source="need.stage.card_id")
    card_number = serializers.CharField(source="need.stage.card.number")
    promised_on = Day(source="need.stage.card.promised_on", allow_null=True)
    stage_id = Id(source="need.stage_id")
    part_id = Id(source="need.part_id")
    part_number = serializers.CharField(source="need.part.number")
    supply = SupplyOut()


class SuppliesOut(Out):
    items = NeedSupplyOut(many=True)


class EffectOut(Out):
    need_id = Id(source="need.pk")
    card_id = Id(source="need.stage.card_id")
    card_number = serializers.CharField(source="need.stage.card.number")
    promised_on = Day(source="need.stage.card.promised_on", allow_null=True)
    loses = serializers.BooleanField(help_text="It gets less by it, or later.")
    before = SupplyOut()
    after = SupplyOut()
    late_days = Int(help_text="By how many days its last part then comes after the promised day.")


class EffectsOut(Out):
    items = EffectOut(many=True)


class MoveIn(Body):
    from_need_id = Id(help_text="The need that gives it up: of the same part, at the same site.")
    quantity = Number(help_text="In the part's unit.")
    order_line_id = Id(
        required=False, help_text="What is moved comes with this order line; left out: it is kept on the shelf."
    )
    reason = Text(max_length=200, required=False)


class MoveQuery(serializers.Serializer):
    from_need_id = serializers.IntegerField(
        required=False, min_value=1, max_value=2**63 - 1, help_text="Left out: nothing is moved, so nothing changes."
    )
    quantity = Number(required=False, help_text="In the part's unit; left out: one.")
    order_line_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class OrderIn(Body):
    quantity = Number(required=False, help_text="In the part's unit; left out: what is missing.")


class OrderedLineOut(Out):
    order_line_id = Id(source="pk")
    order_id = Id()
    supplier = serializers.CharField(source="order.supplier.name")
    part_id = Id()
    quantity = Number(help_text="Of the whole line, in the part's unit.")
    label = serializers.CharField(help_text="What it is for: the card.")  # type: ignore[assignment]


class OrderedOut(Out):
    """What was put onto draft orders, and the parts that nobody is noted to sell."""

    lines = OrderedLineOut(many=True)
    not_sold_part_ids = serializers.SerializerMethodField(help_text="Parts without an offer.")

    def get_not_sold_part_ids(self, ordered: Any) -> list[int]:
        return [part.pk for part in ordered.nobody]
