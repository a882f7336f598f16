"""/api/v1/hours-reports/, /hours-sold/, /estimate-accuracy/"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from rest_framework import serializers

from jobs.books.api import SpanQuery, days, span
from shop.api import keyset
from shop.api.fields import Day, Id, Int, Money, Number, Out
from shop.api.kit import Resource, reads
from shop.business.queries import profile

from . import accuracy, hours
from .forms import TEN_YEARS


def long_span(query: dict[str, Any]) -> tuple[date, date]:
    """First and last day, at most ten years."""
    return days(query, TEN_YEARS, "Take at most ten years at once.")


class RatiosOut(Out):
    attended = Number(places=4, help_text="Hours at work.")
    over = Number(places=4, help_text="Of those, on days on which nothing runs still: what `worked_of_attended` is of.")
    worked = Number(places=4, help_text="Hours booked on stages.")
    kept = Number(
        places=4, help_text="Of those, on days with attendance that are over: what `worked_of_attended` sets."
    )
    days = Int(help_text="On which hours were booked on stages.")
    days_without = Int(help_text="Of those, without attendance; the ratios of attended hours leave them out.")
    days_running = Int(help_text="On which somebody is at work still; the ratios of attended hours leave them out.")
    sold = Number(places=6, help_text="Hours on issued labour lines that are charged by the hour, less credited ones.")
    worked_of_attended = Number(places=2, allow_null=True, help_text="Per cent.")
    sold_of_worked = Number(places=2, allow_null=True, help_text="Per cent.")
    sold_of_attended = Number(places=2, allow_null=True, help_text="Per cent: the product of the other two.")


class PersonHoursOut(RatiosOut):
    person_id = Id()
    person = serializers.CharField(source="name")


class MonthOut(Out):
    month = Day(help_text="Its first day.")
    attended = Number(places=4)
    worked = Number(places=4)
    sold = Number(places=6)
    days_running = Int(help_text="On which somebody is at work still.")


class HoursOut(Out):
    since = Day()
    until = Day()
    people = PersonHoursOut(many=True)
    nobody = Number(places=6, help_text="Sold, where nobody booked hours on the card.")
    whole = RatiosOut()
    months = MonthOut(many=True, help_text="The last twelve up to the last day, or the whole span.")


class HoursReports(Resource):
    kind = "hours-report"
    out = HoursOut
    single = True

    @reads("time.read", query=SpanQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Hours at work, on stages and sold, by person, in at most ten years."""
        return hours.report(*long_span(query))


class SoldQuery(SpanQuery):
    person_id = serializers.IntegerField(
        min_value=0,
        max_value=2**63 - 1,
        required=False,
        help_text="Left out: everybody's. 0: lines of cards on which nobody booked.",
    )
    limit = serializers.IntegerField(min_value=1, max_value=200, default=50, help_text="How many, at most 200.")
    cursor = serializers.CharField(max_length=400, required=False, help_text="`next` of a page of the same days.")


class SoldOut(Out):
    invoice_id = Id(source="line.invoice_id")
    invoice = serializers.CharField(source="line.invoice.number")
    issued_on = Day(source="line.invoice.issued_on")
    card_id = Id(source="line.invoice.card_id", allow_null=True)
    stage_id = Id(source="line.stage_id", allow_null=True)
    text = serializers.CharField(source="line.text")
    hours = Number(places=6, help_text="Of the whole line; of a credit note below zero.")
    share = Number(places=6, help_text="What of them is this person's.")


class SoldPageOut(Out):
    since = Day()
    until = Day()
    items = SoldOut(many=True, help_text="May be fewer than the limit, or none, before the end.")
    next = serializers.CharField(allow_null=True, help_text="The cursor of the next page; null at the end.")


class HoursSold(Resource):
    kind = "hours-sold"
    out = SoldPageOut
    single = True

    @reads("time.read", query=SoldQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Invoice lines behind the hours that a person sold, the newest first."""
        first, last = long_span(query)
        person = query.get("person_id")
        lines = hours.sold_lines(first, last, person).select_related("invoice")
        page = keyset.page(lines, ("-id",), limit=query["limit"], cursor=query.get("cursor"))
        return {
            "since": first, "until": last, "items": hours.sold_by(person, page.items), "next": page.next,
        }  # fmt: skip


class JobOut(Out):
    card_id = Id(source="card.pk")
    card_number = serializers.CharField(source="card.number")
    estimate_ids = serializers.SerializerMethodField(help_text="Those that were agreed to.")
    agreed = Money(places=2, help_text="What the customer had said yes to, before tax, without core deposits.")
    billed = Money(places=2, help_text="Invoices less credit notes, before tax, without core deposits.")
    cores_agreed = Money(places=2, help_text="Core deposits, which are paid back: left out of `agreed`.")
    cores_billed = Money(places=2, help_text="Core deposits less credited ones: left out of `billed`.")
    percent = Number(places=2, allow_null=True, help_text="Billed of a hundred agreed.")
    hours_agreed = Number(places=6)
    hours_taken = Number(places=4)
    likely = Money(
        places=2, source="outlook.likely", default=None, allow_null=True,
        help_text="Without core deposits. None of several estimates, nor of one a line of which was not agreed to.",
    )  # fmt: skip
    careful = Money(places=2, source="outlook.careful", default=None, allow_null=True)
    likely_hours = Number(places=4, source="outlook.likely_hours", default=None, allow_null=True)
    careful_hours = Number(places=4, source="outlook.careful_hours", default=None, allow_null=True)

    def get_estimate_ids(self, row: accuracy.Job) -> list[int]:
        return [e.pk for e in row.estimates]


class SpreadOut(Out):
    lowest = Number(places=2)
    lower = Number(places=2, help_text="A quarter of the cards lie at or below it.")
    median = Number(places=2)
    upper = Number(places=2, help_text="Three quarters lie at or below it.")
    highest = Number(places=2)


class CalibrationOut(Out):
    jobs = Int(help_text="Cards with likely and careful figures of their only estimate, agreed whole.")
    within_likely = Int(help_text="That came to no more than the likely figure.")
    within_careful = Int(help_text="That came to no more than the careful figure.")
    likely_percent = Number(places=2, allow_null=True)
    careful_percent = Number(places=2, allow_null=True)


class AccuracyOut(Out):
    since = Day()
    until = Day()
    currency = serializers.CharField()
    agreed = Money(places=2)
    billed = Money(places=2)
    billed_agreed = Money(places=2, help_text="Of billed, on cards where something was agreed.")
    percent = Number(places=2, allow_null=True, help_text="`billed_agreed` of a hundred agreed.")
    hours_agreed = Number(places=6)
    hours_taken = Number(places=4)
    spread = SpreadOut(allow_null=True, help_text="Of billed of a hundred agreed.")
    nothing_agreed = Int(help_text="Cards on which nothing was agreed.")
    price = CalibrationOut()
    hours = CalibrationOut()
    lines = JobOut(many=True)


class EstimateAccuracy(Resource):
    kind = "estimate-accuracy"
    out = AccuracyOut
    single = True

    @reads("margin.read", query=SpanQuery)
    def retrieve(self, request: Any, query: dict[str, Any]) -> Any:
        """Agreed against billed and hours estimated against hours taken, of cards first invoiced in some days."""
        first, until = span(query)
        return accuracy.report(first, until - timedelta(days=1), profile().currency)


def register(router: Any) -> None:
    router.register("hours-reports", HoursReports, basename="hours-reports")
    router.register("hours-sold", HoursSold, basename="hours-sold")
    router.register("estimate-accuracy", EstimateAccuracy, basename="estimate-accuracy")
