"""What the stock is worth at a date."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Day, DayQuery, Id, Money, Number, Out
from shop.api.kit import Resource, reads
from shop.business.queries import profile
from shop.kernel import clock

from .. import worth


class PartValueOut(Out):
    part_id = Id(source="part.pk")
    part_number = serializers.CharField(source="part.number")
    unit = serializers.CharField(source="part.unit")
    quantity = Number()
    value = Money(places=2, help_text="First in first out by lot.")
    average_value = Money(places=2, help_text="By moving average.")


class StockValueOut(Out):
    day = Day()
    currency = serializers.CharField()
    value = Money(places=2, help_text="Sum of the lines.")
    average_value = Money(places=2)
    lines = PartValueOut(many=True)


class StockValue(Resource):
    kind = "stock-value"
    out = StockValueOut
    single = True

    @reads("stock.value", query=DayQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Value of the stock at the end of a day, by part."""
        day = query.get("day") or clock.today()
        return worth.report(min(day, clock.today()), profile().currency)


class MonthEndOut(Out):
    day = Day()
    value = Money(places=2, help_text="First in first out by lot.")


class StockValueMonthsOut(Out):
    currency = serializers.CharField()
    ends = MonthEndOut(many=True)


class StockValueMonths(Resource):
    kind = "stock-value-months"
    out = StockValueMonthsOut
    single = True

    @reads("stock.value", query=DayQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Value of the stock at the ends of the last months before a day, and on that day."""
        day, currency = min(query.get("day") or clock.today(), clock.today()), profile().currency
        ends = [{"day": on, "value": value} for on, value in worth.month_ends(day, currency)]
        return {"currency": currency, "ends": ends}
